"""Tells a fall that did not happen: "casi me caigo pero no me cai", "tripped but never fell"."""

from bot.reading.phrases import word_set
from bot.reading.walk import Mention, Walk

_NEARLY = word_set("nearly almost near casi poco poquito")
_NOT = word_set("no not didnt never nunca dont")
_FALLEN = word_set("fall fell fallen cai cayo down over caido caida caia hit")
_CAUGHT = frozenset(
    tuple(pair.split())
    for pair in (
        "caught myself", "held on", "me agarre", "me detuve", "me sostuve", "grabbed the",
        "no paso", "steadied myself",
    )
)  # fmt: skip
_HURT = word_set("hurt hit landed bruise bruised sore duele golpee pegue golpe moreton cut broke")
_FLAT = word_set("fell fallen cai cayo caida caidas down landed")  # down on the ground, unless near
REACH = 3  # words
MOST_WORDS = 60  # more is no reply


def suppose_near_misses(walk: Walk) -> None:
    """Marks the stumble that ended on the feet. A fall that did happen stays, and so does pain."""
    falls = [m for m in walk.mentions if m.concept == "symptom.fall" and not m.denied]
    if not falls or len(walk.words) > MOST_WORDS:
        return
    texts = [w.text for w in walk.words]
    if not _HURT.isdisjoint(texts):
        return
    missed = [m for m in falls if _was_near(texts, m) or _is_a_stumble(m)]
    if len(missed) == len(falls) and _stayed_up(texts, max(m.end for m in falls)):
        for mention in falls:
            mention.supposed = True


def _was_near(texts: list[str], fall: Mention) -> bool:
    inside = texts[fall.start : fall.start + 1]
    return not _NEARLY.isdisjoint(texts[max(0, fall.start - REACH) : fall.start] + inside)


def _is_a_stumble(fall: Mention) -> bool:
    return _FLAT.isdisjoint(fall.words.split())


def _stayed_up(texts: list[str], begin: int) -> bool:
    """True when "but didn't fall" or "caught myself" stands behind the last stumble."""
    for at in range(begin, len(texts)):
        if texts[at] in _NOT and not _FALLEN.isdisjoint(texts[at + 1 : at + 1 + REACH]):
            return True
        if tuple(texts[at : at + 2]) in _CAUGHT:
            return True
    return False
