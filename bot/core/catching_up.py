"""Spreads over days what a late enrolment must catch up on, so that no patient gets it all at once.

Only teaching is spread; safety and time-critical questions come at once, and the conversation asks
them one by one. Teaching that is not late yet queues behind what is, so that part two of a series
never comes before part one.
"""

from collections.abc import Sequence, Set
from datetime import datetime, time, timedelta

from bot.core.changed import replace
from bot.core.countdown import day_offset, instant, local_date
from bot.core.placing import Place
from bot.core.planned import PlannedPrompt
from bot.core.quiet import mergeable, next_waking

CATCH_UP_AT = time(10, 0)  # local time of what waits for another day
PATIENCE = timedelta(days=1)  # what helps for less than this keeps its own time


def spread(
    messages: Sequence[PlannedPrompt], at_once: Set[str], here: Place
) -> list[PlannedPrompt]:
    """Give `messages` with late teaching spread over the days, in its order.

    At most the daily limit a day where the windows allow it, otherwise as few more as they force.
    Messages whose key is in `at_once` do not wait.
    """
    moved: dict[str, PlannedPrompt] = {}
    for to in ("patient", "coach"):
        queue = [m for m in messages if m.to == to and m.key not in at_once and _can_wait(m)]
        queue.sort(key=lambda message: (not _is_late(message), message.due))
        moved |= {message.key: message for message in _fewest_a_day(queue, here)}
    return [moved.get(message.key, message) for message in messages]


def _is_late(message: PlannedPrompt) -> bool:
    return all(part.catch_up for part in message.parts)


def _can_wait(message: PlannedPrompt) -> bool:
    patient = _is_late(message) or message.closes - message.due >= PATIENCE
    return mergeable(message) and patient


def _fewest_a_day(queue: Sequence[PlannedPrompt], here: Place) -> list[PlannedPrompt]:
    for a_day in range(here.rules.daily_limit, len(queue)):
        times = _times(queue, a_day, here)
        if all(due <= message.closes for message, due in zip(queue, times, strict=True)):
            return [_at(message, due, here) for message, due in zip(queue, times, strict=True)]
    return list(queue)


def _times(queue: Sequence[PlannedPrompt], a_day: int, here: Place) -> list[datetime]:
    """Give each message its time at `a_day` messages a day, until nothing is late any more."""
    times: list[datetime] = []
    caught_up = False
    for n, message in enumerate(queue):
        due = message.due
        if not caught_up:
            due = max(due, _slot(queue[0].due, n // a_day, here))
            caught_up = due == message.due and not _is_late(message)
        times.append(due)
    return times


def _slot(first: datetime, days: int, here: Place) -> datetime:
    if days == 0:
        return first
    zone = here.surgery.zone
    day = day_offset(local_date(first, zone), days)
    return next_waking(instant(day, CATCH_UP_AT, zone), zone, here.rules)


def _at(message: PlannedPrompt, due: datetime, here: Place) -> PlannedPrompt:
    if due == message.due:
        return message
    days_left = str((here.surgery.on - local_date(due, here.surgery.zone)).days)
    parts = tuple(
        replace(part, values={**part.values, "days_left": days_left}, catch_up=True)
        for part in message.parts
    )
    return replace(message, due=due, parts=parts)
