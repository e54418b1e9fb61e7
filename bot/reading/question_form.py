"""Tells a statement from the question it looks like: "which I got", "tengo que ni puedo tragar"."""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.tokens import COMMA, QUESTION

_TELLS_AFTER_QUE = word_set("ni no me se")
_ABILITIES = word_set("respirar caminar subir dormir andar moverme hablar")
_SUBJECTS = word_set("i is was has are were had the my it he she started weeps came")


def only_looks_asked(words: Sequence[Word], match: Match) -> bool:
    """True for a question's words inside a statement; a question mark makes them a question."""
    if QUESTION in words:
        return False
    first = words[match.start].text
    before = words[match.start - 1] if match.start else None
    after = words[match.end].text if match.end < len(words) else ""
    if first == "which":
        return before is not None and before is COMMA and after in _SUBJECTS
    if first == "tengo":
        return match.end - match.start == 2 and after in _TELLS_AFTER_QUE
    if first == "puedo":
        back = words[max(0, match.start - 1) : match.start]
        said = {w.text for w in words[match.start + 1 : match.start + 2]}
        ni = any(w.text in ("ni", "no") for w in back)
        return ni or (not _ABILITIES.isdisjoint(said) and _says_well(words, match.start))
    return False


def _says_well(words: Sequence[Word], at: int) -> bool:
    return any(w.text in ("bien", "sin", "perfectamente") for w in words[at + 2 : at + 4])
