"""Checks on how a text reads and travels: reading grade, ease, and length as SMS.

Grade 6 or below in English: AHRQ's toolkit asks for the 5th to 6th grade (from memory). "Quite
easy", 65, or above in Spanish: INFLESZ (`read-inflesz`). Both hold for a whole conversation, for
one short line moves any formula; a single text may be a little harder, never much (our choice).
Length: two parts of 153 septets (3GPP TS 23.040 section 9.2.3.24.1), accents folded as when sent.
"""

from collections.abc import Iterator, Mapping

from bot.content import readability
from bot.content.document import Document
from bot.content.faults import Fault
from bot.content.schema import TalkModel
from bot.core.segments import Accents, count, sms_text
from bot.core.wording import PLACEHOLDER

GRADE, SINGLE_GRADE = 6.0, 8.0
EASE, SINGLE_EASE = 65.0, 40.0  # 40 is where INFLESZ begins to say "very hard"
ENOUGH_WORDS = 12  # fewer say nothing about a single text
PARTS = 2
SURELY_SHORT = 140  # signs: even if each took two units, and with its numbers, it is two parts
NOT_SAID = "topic"  # part of a sentence, never a message
Path = tuple[str, ...]


def ease_faults(
    talk: TalkModel, document: Document, examples: Mapping[str, str]
) -> Iterator[Fault]:
    """Everything that is too hard or too long in one talk. `examples` fill the placeholders."""
    said = {key: texts for key, texts in talk.wording.items() if key != NOT_SAID}
    yield from _whole(talk, said, document)
    for key, texts in said.items():
        yield from _single(("wording", key), texts, document)
    yield from _long(talk, said, document, examples)


def _whole(
    talk: TalkModel, said: Mapping[str, Mapping[str, str]], document: Document
) -> Iterator[Fault]:
    english = readability.english(readability.together(t["en"] for t in said.values() if "en" in t))
    spanish = readability.spanish(readability.together(t["es"] for t in said.values() if "es" in t))
    if english.words >= ENOUGH_WORDS and _grade(english) > GRADE:
        what = f"{talk.flow} reads at grade {_grade(english):.1f} in English, above {GRADE:.0f}"
        yield document.fault("F070", ("wording",), what, "Shorten sentences; use short words.")
    if spanish.words >= ENOUGH_WORDS and readability.perspicuity(spanish) < EASE:
        ease = readability.perspicuity(spanish)
        what = f"{talk.flow} has an ease of {ease:.0f} in Spanish, below {EASE:.0f}"
        yield document.fault("F071", ("wording",), what, "Shorten sentences; use short words.")


def _grade(counts: readability.Measure) -> float:
    return max(readability.flesch_kincaid(counts), readability.automated_index(counts))


def _single(path: Path, texts: Mapping[str, str], document: Document) -> Iterator[Fault]:
    english, spanish = (
        readability.english(texts.get("en", "")),
        readability.spanish(texts.get("es", "")),
    )
    if english.words >= ENOUGH_WORDS and _grade(english) > SINGLE_GRADE:
        what = f"this text reads at grade {_grade(english):.1f}, above {SINGLE_GRADE:.0f}"
        yield document.fault("F072", (*path, "en"), what, "Make two sentences of it; plain words.")
    if spanish.words >= ENOUGH_WORDS and readability.perspicuity(spanish) < SINGLE_EASE:
        ease = readability.perspicuity(spanish)
        what = f"this text has an ease of {ease:.0f} in Spanish, below {SINGLE_EASE:.0f}"
        yield document.fault("F072", (*path, "es"), what, "Make two sentences of it; plain words.")


def _long(
    talk: TalkModel,
    said: Mapping[str, Mapping[str, str]],
    document: Document,
    examples: Mapping[str, str],
) -> Iterator[Fault]:
    """One text with the choices that stand below it."""
    for key, texts in said.items():
        offered = _offered(talk, key)
        for language, text in texts.items():
            labels = tuple(talk.labels.get(choice, {}).get(language, "") for choice in offered)
            told = filled(text, examples)
            if len(told) + sum(map(len, labels)) < SURELY_SHORT:
                continue
            segments = count(sms_text(told, labels, Accents.FOLD))
            if segments.parts > PARTS:
                what = f"{segments.units} characters with its choices make {segments.parts} SMS"
                mend = f"Keep it within {PARTS}: 306 characters, or split it with a state between."
                yield document.fault("F073", ("wording", key, language), what, mend)


def _offered(talk: TalkModel, key: str) -> tuple[str, ...]:
    """The most choices that stand below this line, where a question says it."""
    lists = [tuple(state.choices) for state in talk.states.values() if state.say == key]
    return max(lists, key=len, default=())


def filled(text: str, examples: Mapping[str, str]) -> str:
    """The text as a patient gets it, with the examples of facts.yaml."""
    return PLACEHOLDER.sub(lambda name: examples.get(name[1], name[0]), text)
