"""Which curated answer fits a question, or none: a doubt is left to the nurse.

Pure: the book of answers comes in as values and nothing is read or written. A match weighs the
words that two questions share by how rare they are (inverse document frequency), forgives typing
errors, and must be both good and clearly better than the next entry.
"""

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rapidfuzz import fuzz, process

_WORD = re.compile(r"[a-z0-9]+")
_LONGEST_QUESTION = 300  # characters; a longer text is a story for the nurse, not a question
_SPELLING_FROM = 5  # letters; shorter words have too many neighbours ("cut", "cup")
_SPELLING_SCORE = 84.0
_PER_KEY_WORD = 0.04  # the entry with the narrower key wins


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
class Answer:
    """The entry that fits. `because` quotes the patient's words that it was chosen for."""

    entry: AnswerEntry
    language: str
    score: float  # 0 to 1
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Thresholds:
    """How sure a match must be. Tuned by leaving out each way of asking in turn."""

    score: float = 0.52
    margin: float = 0.05


@dataclass(frozen=True, slots=True)
class _Asking:
    """One way of asking, prepared for comparing."""

    entry: int
    words: frozenset[str]
    weight: float


@dataclass(frozen=True, slots=True)
class _Language:
    """One language's ways of asking and the weight of each word in them."""

    askings: tuple[_Asking, ...]
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


class AnswerFinder:
    """Finds the entry that answers a question. Built once per published book."""

    def __init__(self, book: AnswerBook, thresholds: Thresholds | None = None) -> None:
        self._entries = book.entries
        self._thresholds = thresholds or Thresholds()
        languages = {language for entry in book.entries for language in entry.questions}
        self._languages = {name: _prepared(book, name) for name in sorted(languages)}
        self._guarded = frozenset().union(*book.guarded.values())  # a text may mix languages

    def find(self, text: str, language: str | None = None) -> Answer | None:
        """The answer to `text`, or None when no entry fits clearly.

        `language` is the patient's; the other languages are tried when it has no answer.
        """
        if len(text) > _LONGEST_QUESTION:
            return None
        first = [language] if language in self._languages else []
        others = [name for name in self._languages if name != language]
        for name in [*first, *others]:
            answer = self._find_in(text, name)
            if answer is not None:
                return answer
        return None

    def _find_in(self, text: str, name: str) -> Answer | None:
        spoken = self._languages[name]
        said = _spelt(plain_words(text), spoken)
        asked = said - spoken.filler
        ranked = _ranked(said, spoken)
        if not ranked or not self._is_clear(ranked) or _disputed(said, ranked, spoken):
            return None
        score, index = ranked[0]
        entry = self._entries[index]
        if not entry.escalate and said & self._guarded:
            return None
        shared = asked & spoken.entry_words[index]
        because = sorted(shared, key=lambda word: -spoken.weights.get(word, 0.0))[:4]
        return Answer(entry, name, round(score, 3), tuple(because))

    def _is_clear(self, ranked: list[tuple[float, int]]) -> bool:
        best = ranked[0][0]
        second = ranked[1][0] if len(ranked) > 1 else 0.0
        return best >= self._thresholds.score and (
            best - second >= self._thresholds.margin or (best >= 0.999 > second)
        )


def _prepared(book: AnswerBook, language: str) -> _Language:
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
        _Asking(index, words, _total(words, weights, 0.0))
        for index, ways in enumerate(asked)
        for words in ways
        if words
    )
    unknown = max(weights.values(), default=1.0)
    guarded = book.guarded.get(language, frozenset())
    unless = tuple(entry.unless.get(language, frozenset()) for entry in book.entries)
    spellings = tuple(w for w in sorted({*weights, *guarded}) if len(w) >= _SPELLING_FROM)
    return _Language(
        askings, entry_words, keys, unless, weights, unknown, guarded, filler, spellings
    )


def _word_weights(entry_words: Iterable[frozenset[str]]) -> dict[str, float]:
    """Rarer words weigh more: the logarithm of entries over entries that use the word."""
    groups = list(entry_words)
    used_in = Counter(word for words in groups for word in words)
    return {word: math.log((len(groups) + 1) / count) for word, count in used_in.items()}


def _total(words: Iterable[str], weights: Mapping[str, float], unknown: float) -> float:
    return sum(weights.get(word, unknown) for word in words)


def _spelt(words: Iterable[str], spoken: _Language) -> frozenset[str]:
    """The words as the book spells them where they are near enough."""
    return frozenset(_nearest(word, spoken) for word in words)


def _nearest(word: str, spoken: _Language) -> str:
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


def _ranked(said: frozenset[str], spoken: _Language) -> list[tuple[float, int]]:
    """Entries by how well their best way of asking fits, best first."""
    asked = said - spoken.filler
    mine = _total(asked, spoken.weights, spoken.unknown)
    if mine == 0.0:
        return []
    named = {
        entry: len(said & frozenset().union(*groups))
        for entry, groups in enumerate(spoken.keys)
        if _possible(said, entry, spoken)
    }
    best: dict[int, float] = {}
    for asking in spoken.askings:
        if asking.entry in named and not asked.isdisjoint(asking.words):
            score = _fit(asked, asking, mine, spoken) + _PER_KEY_WORD * named[asking.entry]
            best[asking.entry] = max(score, best.get(asking.entry, 0.0))
    return sorted(((score, index) for index, score in best.items()), reverse=True)


def _possible(said: frozenset[str], entry: int, spoken: _Language) -> bool:
    """True when each group of key words is touched and no word rules the entry out."""
    return said.isdisjoint(spoken.unless[entry]) and all(
        said & group for group in spoken.keys[entry]
    )


def _disputed(said: frozenset[str], ranked: list[tuple[float, int]], spoken: _Language) -> bool:
    """True when another possible entry hangs on a word that the best one knows nothing of."""
    best = spoken.entry_words[ranked[0][1]] | spoken.filler
    others = (group for _, index in ranked[1:] for group in spoken.keys[index])
    return any(said & group - best for group in others)


def _fit(
    asked: frozenset[str],
    asking: _Asking,
    mine: float,
    spoken: _Language,
) -> float:
    """0 to 1: words shared with this way of asking, and with all ways of the same entry."""
    same = 2 * _total(asked & asking.words, spoken.weights, 0.0) / (mine + asking.weight)
    covered = _total(asked & spoken.entry_words[asking.entry], spoken.weights, 0.0) / mine
    return 0.5 * same + 0.5 * covered
