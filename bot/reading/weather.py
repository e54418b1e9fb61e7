"""Tells the numbers that are the weather's, a price's or a room's from those of a body."""

from collections.abc import Sequence

from bot.reading.matching import HARMLESS, Match
from bot.reading.phrases import Word
from bot.reading.reading import Asked
from bot.reading.temperature import Measured
from bot.reading.tokens import COMMA

MOST_READINGS = 20  # more is no reply to a question
WEATHER = "harmless.weather"


def of_bodies(
    words: Sequence[Word], measured: list[Measured], matches: Sequence[Match], asked: Asked
) -> list[Measured]:
    """`measured` without the 101 of "101 degrees outside" and the 38 of "hace calor, 38 grados".

    The only number in answer to "what is your temperature?" is the patient's, whatever the weather.
    """
    harmless = [m for m in matches if m.layer == HARMLESS]
    if not harmless or len(measured) > MOST_READINGS:
        return measured
    kept = [m for m in measured if not any(_overlap(m, h) for h in harmless)]
    answered = asked is Asked.TEMPERATURE and len(kept) == 1 and not _beside(kept[0], harmless)
    if answered or any(m.concept.startswith("symptom.fever") for m in matches):
        return kept
    turns = _turns(words, matches)
    for weather in (h for h in harmless if h.concept == WEATHER and not _is_likened(words, h)):
        near = [m for m in kept if not any(_between(at, m, weather) for at in turns)]
        nearest = min(near, key=lambda m: _distance(m, weather), default=None)
        kept = [m for m in kept if m is not nearest]
    return kept


def _is_likened(words: Sequence[Word], match: Match) -> bool:
    """True for the rain of "right as rain"."""
    return match.start > 0 and words[match.start - 1].text in ("as", "como")


def _beside(measured: Measured, harmless: Sequence[Match]) -> bool:
    """True for the 102 of "102 in the shade" and the 98 of "weather lady says 98"."""
    places = [m for m in harmless if m.concept == WEATHER]
    follows = any(measured.end == m.start and m.end - m.start > 1 for m in places)
    return follows or any(0 <= measured.start - m.end <= 2 for m in places)


def _overlap(measured: Measured, match: Match) -> bool:
    return match.start < measured.end and measured.start < match.end


def _turns(words: Sequence[Word], matches: Sequence[Match]) -> list[int]:
    """Where a sentence ends or a "but" turns it."""
    turns = [m.start for m in matches if m.concept == "mod.but"]
    return turns + [i for i, w in enumerate(words) if w.separates and w is not COMMA]


def _between(at: int, measured: Measured, match: Match) -> bool:
    return measured.end <= at < match.start or match.end <= at < measured.start


def _distance(measured: Measured, match: Match) -> int:
    return max(match.start - measured.end, measured.start - match.end)
