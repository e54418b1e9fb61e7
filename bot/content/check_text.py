"""Checks on the words of a conversation: complete in every language, plain, and fillable."""

import unicodedata
from collections.abc import Iterator, Mapping

from bot.content.document import Document
from bot.content.faults import Fault
from bot.content.schema import StateModel, TalkModel
from bot.core.choice_words import plain
from bot.core.segments import fold
from bot.core.wording import placeholders
from bot.reading.reading import Asked

SAFETY_QUESTIONS = frozenset(
    {Asked.SYMPTOM_CHECK, Asked.WASH, Asked.MEDICINE_STOP, Asked.TEMPERATURE}
)
LINES_ONLY = frozenset(
    {"system", "coach_copy", "handout"}
)  # their lines are used by name, from the code
STEMS = ("nudge", "simpler", "coach_ask")
Path = tuple[str, ...]


def text_faults(
    talk: TalkModel, document: Document, names: frozenset[str], languages: tuple[str, ...]
) -> Iterator[Fault]:
    """Everything wrong with the words of one talk. `names` are the placeholders that exist."""
    for path, texts in _texts(talk):
        yield from _languages(path, texts, document, languages)
        for language, text in texts.items():
            yield from _plain_signs((*path, language), text, document)
            yield from _fillable((*path, language), text, document, names)
    yield from _missing_lines(talk, document)
    yield from _missing_labels(talk, document)
    yield from _unused(talk, document)
    yield from _further_words(talk, document, languages)


def _further_words(
    talk: TalkModel, document: Document, languages: tuple[str, ...]
) -> Iterator[Fault]:
    """Further words for a choice: of a choice that is offered, and never for two of them."""
    offered = {choice for state in talk.states.values() for choice in state.choices}
    for choice, by_language in talk.words.items():
        if choice not in offered:
            what = f"further words for {choice}, which no question offers"
            yield document.fault("F048", ("words", choice), what, "Offer it, or take them out.")
        for language in by_language.keys() - set(languages):
            what = f"further words for {choice} in {language}, which no text has"
            mend = f"Use one of {', '.join(languages)}."
            yield document.fault("F048", ("words", choice), what, mend)
    for state in talk.states.values():
        yield from _words_for_two(talk, state, document)


def _words_for_two(talk: TalkModel, state: StateModel, document: Document) -> Iterator[Fault]:
    meant: dict[str, str] = {}
    for choice in state.choices:
        for phrase in (plain(t) for texts in talk.words.get(choice, {}).values() for t in texts):
            if not phrase or meant.setdefault(phrase, choice) != choice:
                what = f"'{phrase}' under {choice} says nothing, or means {meant.get(phrase)} too"
                mend = "Keep it under one choice."
                yield document.fault("F048", ("words", choice), what, mend)


def _texts(talk: TalkModel) -> Iterator[tuple[Path, Mapping[str, str]]]:
    for key, texts in talk.labels.items():
        yield ("labels", key), texts
    for key, texts in talk.wording.items():
        yield ("wording", key), texts


def _languages(
    path: Path, texts: Mapping[str, str], document: Document, languages: tuple[str, ...]
) -> Iterator[Fault]:
    for language in languages:
        if not texts.get(language, "").strip():
            where = ".".join((*path, language))
            what = f"no text in {language} for {path[-1]}"
            yield document.fault("F041", path, what, f"Add {where}.")


def _plain_signs(path: Path, text: str, document: Document) -> Iterator[Fault]:
    plain = unicodedata.normalize("NFC", text)
    signs = sorted(set(plain) - set(fold(plain)))
    if signs:
        listed = " ".join(f"{sign} (U+{ord(sign):04X})" for sign in signs)
        what = f"typographic signs in {'.'.join(path)}: {listed}"
        mend = "Type plain quotes, hyphens and three dots; one such sign doubles the SMS."
        yield document.fault("F042", path, what, mend)


def _fillable(path: Path, text: str, document: Document, names: frozenset[str]) -> Iterator[Fault]:
    for name in placeholders(text):
        if name not in names:
            what = f"unknown placeholder {{{name}}} in {'.'.join(path)}"
            mend = "Use one of facts.yaml, or add it there."
            yield document.fault("F043", path, what, mend)
    bare = text.replace("{{", "").replace("}}", "")
    if bare.count("{") != bare.count("}") or bare.count("{") != len(tuple(placeholders(text))):
        what = f"a brace that fills nothing in {'.'.join(path)}"
        yield document.fault("F043", path, what, "Write {name}, with letters only.")


def _missing_lines(talk: TalkModel, document: Document) -> Iterator[Fault]:
    for name, state in talk.states.items():
        for path, key in _named_lines(name, state):
            if key not in talk.wording:
                what = f"no wording for {key}"
                yield document.fault("F044", path, what, f"Add wording.{key}.")
        for stem in _needed_stems(state):
            if stem not in talk.wording and f"{stem}_{name}" not in talk.wording:
                what = f"the question {name} needs a line {stem}"
                mend = f"Add wording.{stem} or wording.{stem}_{name}."
                yield document.fault("F045", ("states", name), what, mend)


def _named_lines(name: str, state: StateModel) -> Iterator[tuple[Path, str]]:
    if state.say is not None:
        yield ("states", name, "say"), state.say
    for key, reply in state.replies.items():
        if reply.say is not None:
            yield ("states", name, "replies", key), reply.say


def _needed_stems(state: StateModel) -> Iterator[str]:
    if state.silence is not None and state.silence.nudges:
        yield "nudge"
    if state.silence is not None and state.silence.coach_after is not None:
        yield "coach_ask"
    if state.asked in SAFETY_QUESTIONS:
        yield "simpler"


def _missing_labels(talk: TalkModel, document: Document) -> Iterator[Fault]:
    for name, state in talk.states.items():
        for choice in state.choices:
            if choice not in talk.labels:
                what = f"the choice {choice} has no label"
                yield document.fault("F046", ("states", name), what, f"Add labels.{choice}.")


def _unused(talk: TalkModel, document: Document) -> Iterator[Fault]:
    """A text that is never said would still be signed by the reviewers."""
    if talk.flow in LINES_ONLY:
        return
    used = {key for name, state in talk.states.items() for _, key in _named_lines(name, state)}
    used |= {"topic", *STEMS}
    used |= {f"{stem}_{name}" for stem in STEMS for name in talk.states}
    for key in talk.wording:
        if key not in used:
            what = f"nothing says the line {key}"
            yield document.fault("F047", ("wording", key), what, "Use it, or take it out.")
    choices = {choice for state in talk.states.values() for choice in state.choices}
    for key in talk.labels:
        if key not in choices:
            what = f"no question offers the choice {key}"
            yield document.fault("F047", ("labels", key), what, "Offer it, or take it out.")
