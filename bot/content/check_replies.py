"""Checks that every reply a question offers is understood, by the reader that patients meet.

Each choice is answered by its number, its label, and the label as it is typed without case and
accents; each known kind of reply by the words that people most often use for it. What is found
must lead where the reply leads.
"""

from collections.abc import Callable, Iterator, Mapping

from bot.content.document import Document
from bot.content.faults import Fault
from bot.core.choice_words import plain
from bot.core.dialogue_alarms import find_alarm
from bot.core.dialogue_replies import ALARM_KEYS, expected_key, free_text, labelled_key
from bot.core.dialogue_wishes import wish_of
from bot.core.flow import Flow, FlowBook, Reply, State
from bot.core.protocol import Rules
from bot.reading.reading import Asked, Reading

Reader = Callable[[str, Asked, str], Reading]  # (text, what was asked, language)
AGE = 70  # of the patient who tries the replies
ALARM, NOTHING = "an alarm", "nothing"
TYPICAL: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "affirm": {"en": ("yes", "Yep"), "es": ("sí", "si claro")},
    "deny": {"en": ("no", "No."), "es": ("no", "No.")},
    "done": {"en": ("done", "I did it"), "es": ("hecho", "ya lo hice")},
    "not_done": {"en": ("I have not done it",), "es": ("no lo he hecho",)},
    "all_clear": {"en": ("no", "I feel fine"), "es": ("no", "me siento bien")},
    "symptom": {"en": ("I have a fever",), "es": ("tengo fiebre",)},
}


def reply_faults(
    flow: Flow, document: Document, book: FlowBook, rules: Rules, read: Reader
) -> Iterator[Fault]:
    """Every reply of one flow that is not understood, in every language of the content."""
    for state in flow.states.values():
        if state.asked is None:
            continue
        for key, text, language in _tried(flow, state, book.languages):
            found = understood(book, flow, state, read(text, state.asked, language), text, rules)
            if not _same(state, key, found):
                what = f'"{text}" ({language}) in answer to {state.id} means {found}, not {key}'
                mend = "Change the label or the kind of question, or add words to the lexicon."
                yield document.fault("F075", ("states", state.id), what, mend)


def _tried(flow: Flow, state: State, languages: tuple[str, ...]) -> Iterator[tuple[str, str, str]]:
    for language in languages:
        for number, key in enumerate(state.choices, start=1):
            label = flow.labels.get(key, {}).get(language, "")
            for text in (str(number), label, plain(label)):
                if text:
                    yield key, text, language
        for key, words in TYPICAL.items():
            if key in state.replies:
                for text in words.get(language, ()):
                    yield key, text, language


def understood(
    book: FlowBook, flow: Flow, state: State, reading: Reading, text: str, rules: Rules
) -> str:
    """The reply key that this message gives in this state, in the order in which it is heard."""
    label = labelled_key(flow, state, text)
    if label is not None and label not in ALARM_KEYS:
        return label
    if find_alarm(book, reading, rules, AGE) is not None:
        return ALARM
    if wish_of(book, text) is not None:
        return "a wish"
    return expected_key(flow, state, reading, text) or free_text(state, text) or NOTHING


def _same(state: State, key: str, found: str) -> bool:
    """The same reply, or one after which the same follows."""
    if found == key or (found == ALARM and key in ALARM_KEYS):
        return True
    return found in state.replies and _follows(state.replies[found]) == _follows(state.replies[key])


def _follows(reply: Reply) -> tuple[object, ...]:
    return reply.go, reply.say, reply.wait_minutes, reply.escalate
