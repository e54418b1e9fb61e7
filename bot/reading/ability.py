"""Tells an ability from its loss: "I can breathe", "up them stairs without puffing"."""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set

_BREATHE = word_set("breathe breath respirar")
_CAN = word_set("can puedo able still puede")
_NOT = word_set(
    "no not cant cannot couldnt dont didnt hardly barely scarcely only apenas casi if when never "
    "nunca ni unless solo how que did used"
)
_SPOILT = word_set("barely hardly only but if when just unless except apenas solo pero si sin not")
BEFORE, BEHIND = 6, 4  # words


def is_able(words: Sequence[Word], event: Match) -> bool:
    """True for what a reply says the patient can do; a word that spoils it makes it none."""
    if event.concept != "emergency.breathing":
        return False
    back = _clause(words, event.start)
    if not _NOT.isdisjoint(back[-BEFORE:]):
        return False
    inside = [w.text for w in words[event.start : event.end]]
    if "without" in inside or inside[0] == "sin":
        return not _CAN.isdisjoint(back)
    if inside[-1] not in _BREATHE or len(inside) > 1:
        return False
    behind = {w.text for w in words[event.end : event.end + BEHIND]}
    return not _CAN.isdisjoint(back[-2:]) and behind.isdisjoint(_SPOILT)


def _clause(words: Sequence[Word], at: int) -> list[str]:
    begin = at
    while begin and not words[begin - 1].separates:
        begin -= 1
        if at - begin > BEFORE * 2:
            break
    return [w.text for w in words[begin:at]]
