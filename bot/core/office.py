"""When an office answers its phone: opening hours, holidays, the next opening."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from bot.core.protocol import OfficeHours

_LOOK_AHEAD_DAYS = 30  # a longer closure than this is an error in the hours, not a holiday


def is_open(hours: OfficeHours, zone: str, at: datetime) -> bool:
    """Say whether the phone is answered at the instant `at`."""
    local = at.astimezone(ZoneInfo(zone))
    if local.date() in hours.holidays or local.weekday() not in hours.days:
        return False
    opens, closes = hours.days[local.weekday()]
    return opens <= local.time() < closes


def next_opening(hours: OfficeHours, zone: str, at: datetime) -> datetime:
    """Return `at` itself when open, else the next opening (UTC-aware, in the zone of `at`).

    An office without any opening hour in a month never closes for us: `at` is returned, so that a
    fault in the hours makes a nurse's deadline early rather than never.
    """
    if is_open(hours, zone, at):
        return at
    local = at.astimezone(ZoneInfo(zone))
    for ahead in range(_LOOK_AHEAD_DAYS):
        day = local.date() + timedelta(days=ahead)
        opens, _ = hours.days.get(day.weekday(), (time.max, time.max))
        start = datetime.combine(day, opens, tzinfo=ZoneInfo(zone))
        if day not in hours.holidays and opens != time.max and start > at:
            return start.astimezone(at.tzinfo)
    return at
