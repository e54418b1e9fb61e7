"""Matching a reading to one of the replies that the open question expects."""

from functools import lru_cache

from bot.core.choice_words import named_choice, plain
from bot.core.flow import Flow, State
from bot.core.same import Same
from bot.reading.reading import Act, Asked, Reading

ANY = "any"  # reply key that takes free text
ALARM_ACTS = frozenset({Act.EMERGENCY, Act.SELF_HARM, Act.SYMPTOM, Act.EXPOSURE})
ALARM_KEYS = frozenset(act.value for act in ALARM_ACTS)
META_ACTS = frozenset(
    {Act.QUESTION, Act.HELP, Act.OPT_OUT, Act.OPT_IN, Act.WRONG_NUMBER, Act.RESCHEDULE}
)
# One meaning under several keys: what an act may stand for when the state has no key of its name.
MEANS: dict[Act, tuple[str, ...]] = {
    Act.AFFIRM: ("yes", "done"),
    Act.DENY: ("no", "not_done"),
    Act.DONE: ("affirm", "yes"),
    Act.NOT_DONE: ("deny", "no"),
    Act.ALL_CLEAR: (),
}


def expected_key(flow: Flow, state: State, reading: Reading, text: str) -> str | None:
    """The reply key that this message gives, free text left out; None when it fits no reply.

    Order: the number of a choice, the words of a choice, then what was understood.
    """
    number = chosen_number(state, reading, text)
    if number is not None:
        return state.choices[number - 1] if 1 <= number <= len(state.choices) else None
    return (
        labelled_key(flow, state, text)
        or _named(flow, state, reading, text)
        or _by_act(state, reading)
    )


def _named(flow: Flow, state: State, reading: Reading, text: str) -> str | None:
    """A choice named in other words; never where the message also raises an alarm or asks."""
    acts = {reading.act, *reading.also}
    if reading.alert or acts & (ALARM_ACTS | META_ACTS):
        return None
    return named_choice(flow, state, plain(text))


def chosen_number(state: State, reading: Reading, text: str) -> int | None:
    """The number typed for a choice, in range or not; None when no choice was typed.

    Several numbers are no choice of one: 0, which is never on the list, so it is asked again.
    """
    if not state.choices or Act.NUMBER in state.replies:
        return None
    if reading.act is Act.CHOICE and reading.choices:
        return reading.choices[0] if len(set(reading.choices)) == 1 else 0
    digits = text.strip().strip(".)( #")
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 3 else None


def labelled_key(flow: Flow, state: State, text: str) -> str | None:
    """The one choice whose label, in any language, is what was written.

    The part after a comma is enough: "nobody answered" for "No, nobody answered".
    """
    said = plain(text)
    keys = [key for key in state.choices if said in _wordings(Same(flow), key)]
    return keys[0] if said and len(keys) == 1 else None


@lru_cache(maxsize=4096)
def _wordings(flow: Same[Flow], key: str) -> frozenset[str]:
    labels = flow.it.labels.get(key, {}).values()
    return frozenset(plain(part) for label in labels for part in (label, *label.split(",")[1:]))


def _by_act(state: State, reading: Reading) -> str | None:
    acts = [act for act in (reading.act, *reading.also) if act not in ALARM_ACTS]
    for act in acts:
        for key in (act.value, *_meanings(state, act)):
            if key in state.replies:
                return key
    return None


def _meanings(state: State, act: Act) -> tuple[str, ...]:
    """A plain "no" to a symptom check means that all is clear."""
    if act is Act.DENY and state.asked is Asked.SYMPTOM_CHECK:
        return ("all_clear", *MEANS[act])
    return MEANS.get(act, ())


def free_text(state: State, text: str) -> str | None:
    """The key `any`, when the state takes free text and there is any to take."""
    readable = any(letter.isalnum() for letter in text)
    return ANY if readable and ANY in state.replies else None
