"""Spreads over days what a late enrolment must catch up on, so that no patient gets it all at once.

Only teaching is spread; safety and time-critical questions come at once, and the conversation asks
them one by one.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time

from bot.core.countdown import day_offset, instant, local_date
from bot.core.placing import Place
from bot.core.planned import PlannedPrompt
from bot.core.quiet import mergeable, next_waking

CATCH_UP_AT = time(10, 0)  # local time of what waits for another day


def spread(messages: Sequence[PlannedPrompt], here: Place) -> list[PlannedPrompt]:
    """Give `messages` with the teaching to catch up on spread over the days, in its order.

    At most the daily limit a day where the windows allow it, otherwise as few more as they force.
    """
    moved: dict[str, PlannedPrompt] = {}
    for to in ("patient", "coach"):
        waiting = [m for m in messages if m.to == to and _may_wait(m)]
        moved |= {m.key: m for m in _fewest_a_day(waiting, here)}
    return [moved.get(message.key, message) for message in messages]


def _may_wait(message: PlannedPrompt) -> bool:
    return mergeable(message) and all(part.catch_up for part in message.parts)


def _fewest_a_day(waiting: Sequence[PlannedPrompt], here: Place) -> list[PlannedPrompt]:
    for a_day in range(here.rules.daily_limit, len(waiting)):
        times = _times(waiting, a_day, here)
        if times is not None:
            return [_at(message, due, here) for message, due in zip(waiting, times, strict=True)]
    return list(waiting)


def _times(waiting: Sequence[PlannedPrompt], a_day: int, here: Place) -> list[datetime] | None:
    """Give each message its time at `a_day` messages a day, or None where a window is too short."""
    times = [_on_day(message, n // a_day, here) for n, message in enumerate(waiting)]
    fits = all(due <= message.closes for message, due in zip(waiting, times, strict=True))
    return times if fits else None


def _on_day(message: PlannedPrompt, days: int, here: Place) -> datetime:
    if days == 0:
        return message.due
    zone = here.surgery.zone
    day = day_offset(local_date(message.due, zone), days)
    return next_waking(instant(day, CATCH_UP_AT, zone), zone, here.rules)


def _at(message: PlannedPrompt, due: datetime, here: Place) -> PlannedPrompt:
    days_left = str((here.surgery.on - local_date(due, here.surgery.zone)).days)
    parts = tuple(
        replace(part, values={**part.values, "days_left": days_left}) for part in message.parts
    )
    return replace(message, due=due, parts=parts)
