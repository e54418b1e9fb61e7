"""Tells the denial that comes last: "a rash? no there is not", "granos no tengo ninguno"."""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.walk import Walk

LONGEST_TAIL = 5  # words
_TAIL = word_set(
    "there theres isnt arent aint is are none not i havent hasnt dont doesnt have has got any one "
    "that it either at all tengo traigo hay veo he tenido ninguno ninguna nada tampoco noto siento "
    "presento"
)
_BETWEEN = word_set("anywhere here there and or i is are we y")
LONGEST_BETWEEN = 3  # words


def closes_the_answer(walk: Walk, event: Match, between: Sequence[Word]) -> bool:
    """True for the "no" of "a sore anywhere and no there isn't": it denies what stands before.

    An emergency is never denied this way, nor what was told with "I have".
    """
    told = walk.mentions[-1:]
    if not told or told[0].concept.startswith(("emergency.", "self_harm")):
        return False
    strange = [w for w in between if not w.separates and w.text not in _BETWEEN]
    if strange or len(between) > LONGEST_BETWEEN:
        return False
    back = [w.text for w in walk.words[max(0, told[0].start - 3) : told[0].start]]
    owned = not _OWNED.isdisjoint(back) and "if" not in back
    last = bool(between) and walk.words[event.end - 1].text in _LAST_WORDS
    return not owned and (_is_tail(walk.words, event.end) or (last and _ends(walk.words, event)))


_LAST_WORDS = word_set("none havent isnt arent ninguno ninguna")


def _ends(words: Sequence[Word], event: Match) -> bool:
    return event.end == len(words) or words[event.end].separates


_OWNED = word_set("i ive im my mi tengo traigo ando hay theres there si yes got")


def _is_tail(words: Sequence[Word], at: int) -> bool:
    """True when only "there isn't" or "tengo ninguno" is left of the sentence."""
    begin = at
    while at < len(words) and not words[at].separates:
        if words[at].text not in _TAIL:
            return False
        at += 1
    return 0 < at - begin <= LONGEST_TAIL
