"""The curated answers prepared for comparing: their ways of asking and the weight of each word."""

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rapidfuzz import fuzz, process

_WORD = re.compile(r"[a-z0-9]+")
_SPELLING_FROM = 5  # letters; shorter words have too many neighbours ("cut", "cup")
_SPELLING_SCORE = 84.0


@dataclass(frozen=True, slots=True)
class AnswerEntry:
    """One curated answer: how people ask it, what they are told, and where that comes from."""

    id: str
    topic: str
    questions: Mapping[str, tuple[str, ...]]  # language -> ways of asking
    answer: Mapping[str, str]  # language -> text, with placeholders
    sources: tuple[str, ...]
    key: Mapping[str, tuple[frozenset[str], ...]] = field(default_factory=dict)  # groups of words
    unless: Mapping[str, frozenset[str]] = field(default_factory=dict)  # words that rule it out
    escalate: bool = False  # a nurse answers; the text only says so
    source_line: int = 0


@dataclass(frozen=True, slots=True)
class AnswerBook:
    """All curated answers of the hospital."""

    entries: tuple[AnswerEntry, ...]
    guarded: Mapping[str, frozenset[str]] = field(default_factory=dict)
    filler: Mapping[str, frozenset[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asking:
    """One way of asking, prepared for comparing."""

    entry: int
    words: frozenset[str]
    weight: float


@dataclass(frozen=True, slots=True)
class SpokenLanguage:
    """One language's ways of asking and the weight of each word in them."""

    askings: tuple[Asking, ...]
    entry_words: tuple[frozenset[str], ...]
    keys: tuple[tuple[frozenset[str], ...], ...]
    unless: tuple[frozenset[str], ...]
    weights: Mapping[str, float]
    unknown: float  # weight of a word that no entry uses: as if it were the rarest
    guarded: frozenset[str]
    filler: frozenset[str]
    spellings: tuple[str, ...]  # words long enough to be mistyped recognisably


def plain_words(text: str) -> tuple[str, ...]:
    """The words of a text in lower case, without accents, apostrophes and signs."""
    decomposed = unicodedata.normalize("NFKD", text.lower().replace("'", "").replace("’", ""))
    return tuple(_WORD.findall("".join(c for c in decomposed if not unicodedata.combining(c))))


def prepared(book: AnswerBook, language: str) -> SpokenLanguage:
    filler = book.filler.get(language, frozenset())
    asked = [
        [frozenset(plain_words(question)) - filler for question in entry.questions[language]]
        for entry in book.entries
    ]
    keys = tuple(entry.key.get(language, ()) for entry in book.entries)
    entry_words = tuple(
        frozenset().union(*ways, *groups) for ways, groups in zip(asked, keys, strict=True)
    )
    weights = _word_weights(entry_words)
    askings = tuple(
        Asking(index, words, total(words, weights, 0.0))
        for index, ways in enumerate(asked)
        for words in ways
        if words
    )
    unknown = max(weights.values(), default=1.0)
    guarded = book.guarded.get(language, frozenset())
    unless = tuple(entry.unless.get(language, frozenset()) for entry in book.entries)
    spellings = tuple(w for w in sorted({*weights, *guarded}) if len(w) >= _SPELLING_FROM)
    return SpokenLanguage(
        askings, entry_words, keys, unless, weights, unknown, guarded, filler, spellings
    )


def _word_weights(entry_words: Iterable[frozenset[str]]) -> dict[str, float]:
    """Rarer words weigh more: the logarithm of entries over entries that use the word."""
    groups = list(entry_words)
    used_in = Counter(word for words in groups for word in words)
    return {word: math.log((len(groups) + 1) / count) for word, count in used_in.items()}


def total(words: Iterable[str], weights: Mapping[str, float], unknown: float) -> float:
    return sum(weights.get(word, unknown) for word in words)


def spelt(words: Iterable[str], spoken: SpokenLanguage) -> frozenset[str]:
    """The words as the book spells them where they are near enough."""
    return frozenset(_nearest(word, spoken) for word in words)


def _nearest(word: str, spoken: SpokenLanguage) -> str:
    known = spoken.weights
    if (
        word in known
        or word in spoken.guarded
        or word in spoken.filler
        or len(word) < _SPELLING_FROM
    ):
        return word
    found = process.extractOne(
        word, spoken.spellings, scorer=fuzz.ratio, score_cutoff=_SPELLING_SCORE
    )
    return found[0] if found else word
