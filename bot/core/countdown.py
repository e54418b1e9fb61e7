"""Local time arithmetic of the countdown: calendar days, clock times and elapsed hours in one zone.

Instants are UTC everywhere; a local date and clock time become an instant only here. Python
subtracts two datetimes of one zone by the wall clock, which is wrong across a clock change, so
nothing else in the project does arithmetic on local datetimes.
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta
from dateutil.tz import datetime_ambiguous


def instant(on: date, at: time, zone: str) -> datetime:
    """Turn a local date and clock time into UTC.

    A time that the clocks skip moves forward by the skip (02:30 becomes 03:30). A time that comes
    twice means the first of the two: for a cut-off or an arrival, earlier is the safe reading.
    Both follow from fold=0 (PEP 495): the offset from before the change is used.
    """
    plain = at if at.tzinfo is None and not at.fold else at.replace(tzinfo=None, fold=0)
    return _instant(on, plain, zone)


@lru_cache(maxsize=8192)  # one hospital's patients share their days and hours
def _instant(on: date, at: time, zone: str) -> datetime:
    return datetime.combine(on, at, ZoneInfo(zone)).astimezone(UTC)


def local(moment: datetime, zone: str) -> datetime:
    """Show an instant on the wall clock of `zone`."""
    return _local(moment, zone) if moment.tzinfo is UTC else moment.astimezone(ZoneInfo(zone))


@lru_cache(maxsize=8192)  # only of UTC, where equal means the same instant (PEP 495)
def _local(moment: datetime, zone: str) -> datetime:
    return moment.astimezone(ZoneInfo(zone))


def local_date(moment: datetime, zone: str) -> date:
    """Give the calendar day of `moment` in `zone`."""
    return local(moment, zone).date()


def comes_twice(moment: datetime, zone: str) -> bool:
    """Tell whether the wall clock shows this time twice, because the clocks go back."""
    return datetime_ambiguous(local(moment, zone))


def day_offset(on: date, days: int) -> date:
    """Count calendar days from `on`; a clock change or a leap day cannot shift the count."""
    return on + timedelta(days=days)


def elapsed(moment: datetime, minutes: float) -> datetime:
    """Move an instant by real minutes, whatever the clocks on the wall do meanwhile."""
    in_utc = moment if moment.tzinfo is UTC else moment.astimezone(UTC)
    return in_utc + timedelta(minutes=minutes) if minutes else in_utc


def wall_clock_before(moment: datetime, minutes: float, zone: str) -> datetime:
    """Move back by what the clock on the wall shows: the sum that a person does in their head."""
    shown = local(moment, zone).replace(tzinfo=None) - timedelta(minutes=minutes)
    return instant(shown.date(), shown.time(), zone)


def whole_years(born: date, on: date) -> int:
    """Give the age in whole years on a day; someone born on 29 February turns on 28 February."""
    return relativedelta(on, born).years
