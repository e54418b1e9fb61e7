"""What a patient may ask at any time: what is next, what is done, when to arrive, a reminder, a
person. And thanks, which ask for nothing.

The ways to say it are content (flows/wishes.yaml); alarms and stops are read before.
"""

import re
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import lru_cache

from bot.core.changed import replace
from bot.core.choice_words import plain
from bot.core.conversation import WaitingFlow
from bot.core.dialogue_draft import Draft
from bot.core.dialogue_walk import enqueue
from bot.core.flow import Flow, FlowBook
from bot.core.protocol import Priority
from bot.core.same import Same
from bot.core.values import moment_words
from bot.core.wording import line_text
from bot.reading.phrases import word_set

REMINDER = "reminder"  # the talk that says what the patient asked to be reminded of
SPARE = 3  # other words a wish may stand among ("please tell me what is next today")
GRATEFUL = word_set("thanks thank thx ty gracias appreciate")
_LONGEST = timedelta(days=3)  # a reminder further ahead is left to the countdown (our choice)
_NUMBER = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "ten": 10,
    "fifteen": 15, "twenty": 20, "thirty": 30, "half": 0.5,
    "un": 1, "una": 1, "dos": 2, "tres": 3, "cuatro": 4, "cinco": 5, "seis": 6, "diez": 10,
    "quince": 15, "veinte": 20, "treinta": 30, "media": 0.5,
}  # fmt: skip
_SPAN = re.compile(
    r"\b(\d{1,3}|[a-z]+) (?:an? )?(minutes?|mins?|minutos?|hours?|hrs?|horas?|days?|dias?)\b"
)
_UNIT = {"m": timedelta(minutes=1), "h": timedelta(hours=1), "d": timedelta(days=1)}


def wish_of(book: FlowBook, text: str) -> str | None:
    """What the message asks of the chat; None when it asks none of these."""
    return _wish_of(Same(book.wishes), text)


@lru_cache(maxsize=2048)  # most replies are one of a few words
def _wish_of(wishes: Same[Mapping[str, tuple[str, ...]]], text: str) -> str | None:
    said = f" {plain(text)} "
    for wish, phrases in wishes.it.items():
        found = [phrase for phrase in phrases if f" {phrase} " in said]
        if wish != "thanks" and any(_fills(phrase, said, wish) for phrase in found):
            return wish
    return None


def _fills(phrase: str, said: str, wish: str) -> bool:
    """True when few other words stand around the phrase."""
    room = SPARE * 3 if wish == "remind" else SPARE  # the time and the matter follow
    return len(said.split()) <= len(phrase.split()) + room


def is_thanks(book: FlowBook, text: str) -> bool:
    """True when the message is made of thanks and small words only, and of little else."""
    words = plain(text).split()
    return 0 < len(words) <= 8 and set(words) <= set(book.wishes.get("thanks", ()))


def thanked(text: str) -> bool:
    """True when it says thank you in so many words: that is answered in kind."""
    return bool(GRATEFUL & set(plain(text).split()))


def grant(draft: Draft, wish: str) -> bool:
    """Answer a wish of the patient's; False when it is read like any other message instead.

    A coach gets a person when they ask for one; all else would show what was not consented to.
    """
    if wish == "person":
        draft.escalate("person_wanted" if draft.by == "patient" else "coach_asked")
        draft.say_system("person_coming" if draft.by == "patient" else "coach_nurse")
        return True
    if draft.by != draft.conversation.who or draft.by != "patient":
        return False
    answers: dict[str, Callable[[Draft], bool]] = {
        "next": _next, "done": _done, "arrive": _arrive, "remind": _remind,
    }  # fmt: skip
    return answers[wish](draft)


def _say(draft: Draft, line: str, **values: str) -> None:
    draft.say_system(line, values=values)


def _next(draft: Draft) -> bool:
    """The open question first; else the next prompt that is planned."""
    coming, language = draft.context.coming, draft.conversation.language
    named = [(topic_of(draft.book, flow, language), due) for flow, due in coming]
    known = [(topic, due) for topic, due in named if topic]
    if not known:
        _say(draft, "next_nothing")
        return True
    topic, due = known[0]
    _say(draft, "next_up", what=topic, when=moment_words(due, draft.context.zone, language))
    return True


def _done(draft: Draft) -> bool:
    done = done_topics(draft.book, draft.context.done, draft.conversation.language)
    if done:
        _say(draft, "done_so_far", what=", ".join(done))
    else:
        _say(draft, "done_nothing")
    return True


def _arrive(draft: Draft) -> bool:
    known = draft.facts().get("start_known") is True
    _say(draft, "when_arrive" if known else "when_arrive_unknown")
    return True


def _remind(draft: Draft) -> bool:
    """Ask the open question again at that time; with none open, write what was asked for."""
    at = reminder_at(draft.words, draft.now)
    if at is None:
        return False
    question = draft.conversation.open
    if question is not None:
        draft.change(open=replace(question, ask_again_at=at, rung="patient", rung_at=draft.now))
    elif REMINDER in draft.book.flows:
        told = {"words": draft.words[:160]}
        enqueue(draft, WaitingFlow(REMINDER, at, Priority.TEACHING, None, None, told))
    else:
        return False
    when = moment_words(at, draft.context.zone, draft.conversation.language)
    _say(draft, "remind_ok", when=when)
    return True


def reminder_at(text: str, now: datetime) -> datetime | None:
    """The time asked for, as a span from now; None when no span is given or it is too far off."""
    said = plain(text)
    if re.search(r"\b(tomorrow|manana)\b", said):
        return now + timedelta(days=1)
    found = _SPAN.search(said)
    if found is None:
        return None
    number = float(found[1]) if found[1].isdigit() else _NUMBER.get(found[1])
    span = number * _UNIT[found[2][0]] if number else timedelta(0)
    return now + span if timedelta(0) < span <= _LONGEST else None


def topic_of(book: FlowBook, flow: str, language: str) -> str:
    """What a flow is about, in words; "" when it has none or is no step of the countdown."""
    found = book.flows.get(flow)
    return line_text(book, flow, "topic", language) if found and found.listed else ""


def done_topics(book: FlowBook, done: frozenset[str], language: str) -> list[str]:
    """The steps that are done, each in the words of its flow, washes with their number."""
    named = [
        topic + number
        for flow in book.flows.values()
        if (topic := topic_of(book, flow.name, language))
        for number in _numbers(flow, done)
    ]
    return list(dict.fromkeys(named))


def _numbers(flow: Flow, done: frozenset[str]) -> list[str]:
    """One entry for each item of the flow that is done: " 1" for a first wash, else nothing."""
    found = []
    for template in _items(flow):
        stem, brace, name = template.partition("{")
        if not brace:
            found += [""] if template in done else []
        elif name.startswith("n"):
            found += [f" {d[len(stem) :]}" for d in sorted(done) if _is_one(stem, d)]
        elif any(d.startswith(stem) for d in done):
            found.append("")
    return found


def _is_one(stem: str, item: str) -> bool:
    return item.startswith(stem) and item[len(stem) :].isdigit()


def _items(flow: Flow) -> list[str]:
    states = flow.states.values()
    pairs = [pair for state in states for pair in state.record]
    pairs += [p for state in states for reply in state.replies.values() for p in reply.record]
    return list(dict.fromkeys(item for item, _ in pairs))
