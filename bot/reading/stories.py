"""Where a story of what was read or watched ends, and the writer's own news begins."""

from itertools import pairwise

from bot.reading.matching import Match
from bot.reading.people import CARED_FOR
from bot.reading.phrases import word_set
from bot.reading.tokens import COMMA
from bot.reading.walk import Walk


def told_after_story(walk: Walk, event: Match) -> bool:
    """True for the pain of "watching the game and my chest got tight": the story is over."""
    told = [w.text for w in walk.words[walk.story_end : event.end]]
    turns = (
        at for at, w in enumerate(told) if w in _TURNS or walk.words[walk.story_end + at] is COMMA
    )
    at = next(turns, len(told))
    after = told[at : at + 5]
    kin = any(a in _OWNERS and b in CARED_FOR for a, b in pairwise(after))
    return kin or not _WRITERS.isdisjoint(after)


_TURNS = word_set("and y when cuando then entonces pero but while mientras")
_OWNERS = word_set("my mi")
_WRITERS = word_set("i im ive my me myself mi yo tengo estoy siento ando")
