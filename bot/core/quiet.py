"""Quiet hours and the daily limit.

Quiet hours are 21:00 to 08:00 in the hospital's zone unless the rules set others. 47 CFR
64.1200(c)(1) binds telephone solicitations only; keeping it for every prompt is this project's
choice (from memory). The one exception: a time-critical prompt for a patient who agreed to it.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta

from bot.core.changed import replace
from bot.core.countdown import day_offset, elapsed, instant, local, local_date
from bot.core.planned import PlannedPrompt
from bot.core.protocol import Late, Priority, Rules

EVENING_LEAD = timedelta(minutes=60)  # an evening copy goes out this long before quiet hours begin


def is_quiet(moment: datetime, zone: str, rules: Rules) -> bool:
    """Tell whether no ordinary prompt may go out at `moment`."""
    at = local(moment, zone).time()
    return not rules.wake <= at < rules.hush


def next_waking(moment: datetime, zone: str, rules: Rules) -> datetime:
    """Give `moment` itself, or the next end of quiet hours after it."""
    if not is_quiet(moment, zone, rules):
        return moment
    here = local(moment, zone)
    day = here.date() if here.time() < rules.wake else day_offset(here.date(), 1)
    return instant(day, rules.wake, zone)


def evening_before(moment: datetime, zone: str, rules: Rules) -> datetime:
    """Give the last good hour before `moment`: an hour before quiet hours begin, never in them."""
    here = local(moment, zone)
    day = here.date() if here.time() >= rules.hush else day_offset(here.date(), -1)
    evening = elapsed(instant(day, rules.hush, zone), -EVENING_LEAD.total_seconds() / 60)
    return evening if not is_quiet(evening, zone, rules) else instant(day, rules.wake, zone)


def end_of_day(day: date, zone: str) -> datetime:
    """Give the first instant of the next calendar day."""
    return instant(day_offset(day, 1), time(0), zone)


def mergeable(message: PlannedPrompt) -> bool:
    """Only teaching may be merged; safety and time-critical prompts stand alone, on time."""
    return message.priority is Priority.TEACHING and not message.time_critical


def keep_daily_limit(
    messages: Iterable[PlannedPrompt],
    zone: str,
    limit: int,
    sent: Sequence[tuple[str, datetime]] = (),
) -> tuple[PlannedPrompt, ...]:
    """Merge a day's teaching so that one recipient gets at most `limit` messages that day.

    `sent` are (recipient, instant) of messages that already went out and count on their day. What
    stands alone counts first; where that alone fills the day, teaching is one further message,
    because nothing is dropped.
    """
    days: dict[tuple[str, date], list[PlannedPrompt]] = defaultdict(list)
    for message in messages:
        days[message.to, local_date(message.due, zone)].append(message)
    used = [(to, local_date(at, zone)) for to, at in sent]
    return tuple(
        message
        for day, group in days.items()
        for message in _fit_day(group, limit - used.count(day))
    )


def _fit_day(group: list[PlannedPrompt], limit: int) -> list[PlannedPrompt]:
    alone = [message for message in group if not mergeable(message)]
    teaching = [message for message in group if mergeable(message)]
    slots = max(1, limit - len(alone))
    if len(teaching) <= slots:
        return group
    return [*alone, *teaching[: slots - 1], merge(teaching[slots - 1 :])]


def merge(messages: Sequence[PlannedPrompt]) -> PlannedPrompt:
    """Join messages into the first one. It goes stale when its most urgent part does.

    It is sent late if any part is: one that may be skipped must not take the others with it.
    """
    first = messages[0]
    late = Late.SEND if any(message.late is Late.SEND for message in messages) else first.late
    return replace(
        first,
        parts=tuple(part for message in messages for part in message.parts),
        closes=min(message.closes for message in messages),
        late=late,
    )
