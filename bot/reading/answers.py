"""Which curated answer fits a question, or none: a doubt is left to the nurse.

Pure: the book of answers comes in as values and nothing is read or written. A match weighs the
words that two questions share by how rare they are (inverse document frequency), forgives typing
errors, and must be both good and clearly better than the next entry.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bot.reading.answer_book import (
    AnswerBook,
    AnswerEntry,
    Asking,
    SpokenLanguage,
    plain_words,
    prepared,
    spelt,
    total,
)

_LONGEST_QUESTION = 300  # characters; a longer text is a story for the nurse, not a question
_WITH = {"with", "con"}
_PER_KEY_WORD = 0.04  # the entry with the narrower key wins


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


class AnswerFinder:
    """Finds the entry that answers a question. Built once per published book."""

    def __init__(
        self,
        book: AnswerBook,
        thresholds: Thresholds | None = None,
        *,
        is_medicine: Callable[[str], bool] = lambda _: False,
    ) -> None:
        """`is_medicine`: true for names, as `plain_words` gives them, that are guarded too."""
        self._entries = book.entries
        self._thresholds = thresholds or Thresholds()
        languages = {language for entry in book.entries for language in entry.questions}
        self._languages = {name: prepared(book, name) for name in sorted(languages)}
        self._guarded = frozenset().union(*book.guarded.values())
        self._own_words = frozenset().union(*(s.weights for s in self._languages.values()))
        self._is_medicine = is_medicine

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
        said = spelt(plain_words(text), spoken)
        asked = said - spoken.filler
        ranked = _ranked(said, spoken)
        if not ranked or not self._is_clear(ranked) or _disputed(said, ranked, spoken):
            return None
        score, index = ranked[0]
        entry = self._entries[index]
        if not entry.escalate and (self._is_guarded(text, said) or _strange_company(text, spoken)):
            return None
        shared = asked & spoken.entry_words[index]
        because = sorted(shared, key=lambda word: -spoken.weights.get(word, 0.0))[:4]
        return Answer(entry, name, round(score, 3), tuple(because))

    def _is_guarded(self, text: str, said: frozenset[str]) -> bool:
        """True when a medicine is named that the book has no answer about."""
        typed: Iterable[str] = (w for w in plain_words(text) if w not in self._own_words)
        return bool(said & self._guarded) or any(map(self._is_medicine, typed))

    def _is_clear(self, ranked: list[tuple[float, int]]) -> bool:
        best = ranked[0][0]
        second = ranked[1][0] if len(ranked) > 1 else 0.0
        return best >= self._thresholds.score and (
            best - second >= self._thresholds.margin or (best >= 0.999 > second)
        )


def _ranked(said: frozenset[str], spoken: SpokenLanguage) -> list[tuple[float, int]]:
    """Entries by how well their best way of asking fits, best first."""
    asked = said - spoken.filler
    mine = total(asked, spoken.weights, spoken.unknown)
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


def _possible(said: frozenset[str], entry: int, spoken: SpokenLanguage) -> bool:
    """True when each group of key words is touched and no word rules the entry out."""
    return said.isdisjoint(spoken.unless[entry]) and all(
        said & group for group in spoken.keys[entry]
    )


def _strange_company(text: str, spoken: SpokenLanguage) -> bool:
    """True when something unknown goes "with" the thing asked about: it may be a medicine."""
    words = plain_words(text)
    at = next((place for place, word in enumerate(words) if word in _WITH), len(words))
    return any(
        word not in spoken.weights and word not in spoken.filler
        for word in spelt(words[at + 1 :], spoken)
    )


def _disputed(
    said: frozenset[str], ranked: list[tuple[float, int]], spoken: SpokenLanguage
) -> bool:
    """True when another possible entry hangs on a word that the best one knows nothing of."""
    best = spoken.entry_words[ranked[0][1]] | spoken.filler
    others = (group for _, index in ranked[1:] for group in spoken.keys[index])
    return any(said & group - best for group in others)


def _fit(
    asked: frozenset[str],
    asking: Asking,
    mine: float,
    spoken: SpokenLanguage,
) -> float:
    """0 to 1: words shared with this way of asking, and with all ways of the same entry."""
    same = 2 * total(asked & asking.words, spoken.weights, 0.0) / (mine + asking.weight)
    covered = total(asked & spoken.entry_words[asking.entry], spoken.weights, 0.0) / mine
    return 0.5 * same + 0.5 * covered
