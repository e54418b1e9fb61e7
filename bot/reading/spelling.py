"""Mends typing errors on words that matter, and only on words that are not words themselves."""

import re
from collections.abc import Iterable
from functools import lru_cache
from itertools import pairwise

from rapidfuzz import process
from rapidfuzz.distance import OSA

LONGEST = 24  # a longer run of letters is not a misspelt word
SHORTEST = 4


def collapse_repeats(word: str) -> tuple[str, ...]:
    """Shorter spellings of a word with letters held down: "feverrr" -> "feverr", "fever"."""
    if not any(a == b for a, b in pairwise(word)):
        return ()
    double: list[str] = []
    single: list[str] = []
    for letter in word:
        if double[-2:] != [letter, letter]:
            double.append(letter)
        if single[-1:] != [letter]:
            single.append(letter)
    return "".join(double), "".join(single)


_LITTLE = re.compile(r"(?:e?c)?(?:it|ill)[oa]s?\Z|isim[oa]s?\Z|az[oa]s?\Z")


def plain_forms(word: str) -> tuple[str, ...]:
    """What a Spanish diminutive or a swallowed "d" stands for: "granitos", "hinchao"."""
    if word.endswith(("ao", "aos")) and len(word) > SHORTEST:
        return (word.replace("ao", "ado"),)
    found = _LITTLE.search(word)
    if found is None or found.start() < 4:
        return ()
    stem, many = word[: found.start()], "s" if word.endswith("s") else ""
    stems = [stem, stem.replace("qu", "c").removesuffix("gu") + ("g" if stem[-2:] == "gu" else "")]
    ends = (word.removesuffix("s")[-1], "a", "o", "e", "")
    return tuple(dict.fromkeys(s + e + m for s in stems for e in ends for m in (many, "")))


def allowed_errors(length: int) -> int:
    """How many slips of the finger a word of `length` letters may hold."""
    if length <= 7:
        return 1
    return 2 if length <= 10 else 3


def skeleton(word: str) -> str:
    """The consonants of a word, doubled ones once: what survives when the vowels are guessed."""
    kept = [letter for letter in word if letter not in "aeiouyh"]
    return "".join(kept[:1] + [b for a, b in pairwise(kept) if a != b])


class Spelling:
    """Finds the word that was meant. `targets` can be meant; `known` are words as they stand.

    `ordinary`: of these, the words that a slip of the finger may stand for too.
    """

    def __init__(
        self, targets: Iterable[str], known: Iterable[str], *, ordinary: Iterable[str] = ()
    ) -> None:
        self._targets = frozenset(targets)
        self._ordinary = frozenset(ordinary) | self._targets
        self._known = frozenset(known) | self._targets
        self._alike: dict[tuple[str, int], list[str]] = {}
        self._tails: dict[str, str] = {}
        for word in sorted(self._targets):
            self._tails[word[1:]] = word
            for near in range(len(word) - 3, len(word) + 4):
                self._alike.setdefault((word[0], near), []).append(word)
        self.mend = lru_cache(maxsize=100_000)(self._mend)

    def _mend(self, word: str) -> tuple[str, ...]:
        """The word or words meant by `word`; itself when nothing is near enough."""
        if len(word) < SHORTEST or len(word) > LONGEST or word in self._known:
            return (word,)
        meant = self._slip(word) or self._nearest(word) or self._wrong_start(word) or word
        return self._two_words(word) or (meant,)

    def _slip(self, word: str) -> str | None:
        """The word typed with two letters swapped or one of a pair left out: "feling"."""
        made = [word[:i] + word[i + 1] + word[i] + word[i + 2 :] for i in range(1, len(word) - 1)]
        made += [word[:i] + word[i] + word[i:] for i in range(1, len(word))]
        known = [maybe for maybe in made if maybe in self._ordinary]
        return next((w for w in known if w in self._targets), known[0] if known else None)

    def _nearest(self, word: str) -> str | None:
        """The nearest word with the same first letter."""
        alike = self._alike.get((word[0], len(word)))
        if not alike:
            return None
        best = process.extractOne(word, alike, scorer=OSA.distance, score_cutoff=3)
        if best is None:
            return None
        found, errors = str(best[0]), int(best[1])
        if errors <= allowed_errors(min(len(word), len(found))):
            return found
        guessed = errors == 2 and len(word) > SHORTEST and skeleton(found) == skeleton(word)
        return found if guessed else None

    def _wrong_start(self, word: str) -> str | None:
        """The word meant when only its first letter is wrong, lost, doubled or swapped."""
        swapped = word[1] + word[0] + word[2:]
        for candidate in (word[1:], swapped):
            if candidate in self._targets:
                return candidate
        return self._tails.get(word[1:]) or self._tails.get(word)

    def _two_words(self, word: str) -> tuple[str, ...]:
        """Splits "nofever" and "sorethroat" when the second half is a word that matters."""
        for cut in range(2, len(word) - 3):
            if word[cut:] in self._targets and word[:cut] in self._known:
                return word[:cut], word[cut:]
        return ()
