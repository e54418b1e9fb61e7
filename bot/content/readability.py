"""How hard a text is to read, by published formulas.

English, as a school grade of the United States, by two formulas that count different things:
- Flesch-Kincaid grade: 0.39 words/sentence + 11.8 syllables/word - 15.59 (Kincaid, Fishburne,
  Rogers and Chissom 1975, Navy research report 8-75; from memory).
- Automated readability index: 4.71 letters/word + 0.5 words/sentence - 21.43 (Smith and Senter
  1967, AMRL-TR-66-220; from memory).
Spanish, as ease from 0 to 100: Szigriszt-Pazos 1993, 206.835 - 62.3 syllables/word -
words/sentence, read on the INFLESZ scale (Barrio-Cantalejo and others 2008): 65 and over is
"quite easy", 80 and over "very easy" (source `read-inflesz`).

The syllable counters are rules of thumb written here; tests/content/test_readability.py says how
well they agree with hyphenation and with words counted by hand.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from bot.core.wording import PLACEHOLDER

STAND_IN = "Ana"  # what a placeholder counts as: a short name
_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*|\d+(?:[.:,-]\d+)*")
_END = re.compile(r"[.?!:]+(?=\s|$)|\n+")
_EN_NUCLEI = re.compile(r"[aeiouy]+")
_EN_SPLIT = re.compile(
    r"ia(?!n?g)|io(?!u?[ns])|(?<!p)eo|iu|(?<!g)ua(?!r)|[eioy]ing|(?<=[aeiou].)ea$|iet|scien|(?<=l)ier$"
)
_EN_SILENT = re.compile(
    r"(?<![leioyu])e$|(?<=[aeiouy])le$"  # soap bubble, table: sounded; while, rinse: not
    r"|(?<![tdei])ed$"
    r"|(?<!s)(?<!z)(?<!ch)(?<!sh)(?<!g)(?<!x)(?<!c)(?<![ieo])(?<!l)es$"
)
_ES_NUCLEI = re.compile(
    r"[iuü]*[aeoáéó][iu]*(?:y(?![aeiouáéíóú]))?|[íú]|[iuü]+(?:y(?![aeiouáéíóú]))?|y$"
)
_ES_HIATUS = re.compile(r"[aeoáéó](?=[aeoáéó])|[íú](?=[aeo])|(?<=[aeo])[íú]")


@dataclass(frozen=True, slots=True)
class Measure:
    """The counts that the formulas use."""

    letters: int  # every sign but spaces, as the index has it
    words: int
    syllables: int
    sentences: int


def english(text: str) -> Measure:
    """Counts of an English text; placeholders count as a short name."""
    return _measure(text, english_syllables)


def spanish(text: str) -> Measure:
    """Counts of a Spanish text; placeholders count as a short name."""
    return _measure(text, spanish_syllables)


def _measure(text: str, syllables: Callable[[str], int]) -> Measure:
    plain = PLACEHOLDER.sub(STAND_IN, text)
    words = _WORD.findall(plain)
    return Measure(
        letters=len("".join(plain.split())),
        words=max(1, len(words)),
        syllables=sum(map(syllables, words)),
        sentences=max(1, sum(1 for part in _END.split(plain) if _WORD.search(part))),
    )


def flesch_kincaid(counts: Measure) -> float:
    """School grade by words per sentence and syllables per word."""
    long, hard = counts.words / counts.sentences, counts.syllables / counts.words
    return 0.39 * long + 11.8 * hard - 15.59


def automated_index(counts: Measure) -> float:
    """School grade by words per sentence and letters per word."""
    return 4.71 * counts.letters / counts.words + 0.5 * counts.words / counts.sentences - 21.43


def perspicuity(counts: Measure) -> float:
    """Ease of a Spanish text by Szigriszt-Pazos, 100 the easiest."""
    long, hard = counts.words / counts.sentences, counts.syllables / counts.words
    return 206.835 - 62.3 * hard - long


def together(texts: Iterable[str]) -> str:
    """Several texts as one, each ending its sentence."""
    return "\n".join(texts)


@lru_cache(maxsize=8192)
def english_syllables(word: str) -> int:
    """Syllables of an English word: groups of vowels, less what is silent, more what is split."""
    low = word.lower().replace("'", "").replace("qu", "q")
    if not low.isalpha():
        return max(1, len(low))  # a number is read out figure by figure, at worst
    count = len(_EN_NUCLEI.findall(low)) + len(_EN_SPLIT.findall(low))
    silent = _EN_SILENT.search(low)
    return max(1, count - bool(silent))


@lru_cache(maxsize=8192)
def spanish_syllables(word: str) -> int:
    """Syllables of a Spanish word: strong vowels each make one, weak ones join unless accented."""
    low = word.lower().replace("qu", "q")
    low = re.sub(r"gu(?=[eéií])", "g", low)
    if not low.isalpha():
        return max(1, len(low))
    split = _ES_HIATUS.sub(lambda found: f"{found[0]}-", low)
    return max(1, len(_ES_NUCLEI.findall(split)))
