"""Local time arithmetic, against worked examples and against an independent library.

The independent reference is `whenever`, which parses the zone files and computes calendars with its
own code and shares none with datetime, zoneinfo or dateutil.
"""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import whenever
from countdown_samples import NEW_YORK, minutes_of_day, surgery_days, zones
from hypothesis import given
from hypothesis import strategies as st

from bot.core.countdown import (
    comes_twice,
    day_offset,
    elapsed,
    instant,
    local,
    local_date,
    wall_clock_before,
    whole_years,
)


def on_reference(on: date, at: time, zone: str) -> whenever.ZonedDateTime:
    """The same time in `whenever`; "compatible" is RFC 5545: skip forward, first of two."""
    return whenever.ZonedDateTime(
        on.year, on.month, on.day, at.hour, at.minute, tz=zone, disambiguation="compatible"
    )


@given(surgery_days, minutes_of_day, zones)
def test_a_local_time_is_the_instant_that_the_reference_gives(on: date, at: time, zone: str):
    # Source of the check: the `whenever` library (PyPI), RFC 5545 rule for gaps and repeats.
    expected = on_reference(on, at, zone).timestamp()
    assert instant(on, at, zone) == datetime.fromtimestamp(expected, UTC)


@given(surgery_days, st.integers(-400, 400))
def test_day_offsets_are_those_of_the_reference(on: date, days: int):
    # Source of the check: `whenever.Date.add`; leap years, month ends and weekdays included.
    expected = whenever.Date(on.year, on.month, on.day).add(days=days)
    counted = day_offset(on, days)
    assert (counted.isoformat(), counted.isoweekday()) == (
        expected.format_iso(),
        expected.day_of_week().value,
    )


@given(surgery_days, minutes_of_day, zones, st.integers(-3000, 3000))
def test_elapsed_minutes_are_those_of_the_reference(on: date, at: time, zone: str, minutes: int):
    # Source of the check: `whenever.ZonedDateTime.add`, exact time across clock changes.
    shown = on_reference(on, at, zone)
    moved = elapsed(instant(on, at, zone), minutes)
    assert moved.timestamp() == shown.add(minutes=minutes).timestamp()
    assert local(moved, zone).strftime("%Y-%m-%dT%H:%M") in shown.add(minutes=minutes).format_iso()


def test_a_skipped_time_moves_forward_by_the_skip():
    # US clocks go forward on 14 March 2027: 15 U.S.C. 260a (second Sunday of March, 02:00).
    moved = instant(date(2027, 3, 14), time(2, 30), NEW_YORK)
    assert local(moved, NEW_YORK).strftime("%H:%M %Z") == "03:30 EDT"


def test_a_time_that_comes_twice_means_the_first():
    # US clocks go back on 1 November 2026: 15 U.S.C. 260a (first Sunday of November, 02:00).
    first = instant(date(2026, 11, 1), time(1, 30), NEW_YORK)
    assert local(first, NEW_YORK).strftime("%H:%M %Z") == "01:30 EDT"
    assert comes_twice(first, NEW_YORK)
    assert comes_twice(elapsed(first, 60), NEW_YORK)
    assert not comes_twice(elapsed(first, 120), NEW_YORK)


def test_one_day_of_a_clock_change_has_23_or_25_hours():
    for on, hours in ((date(2027, 3, 14), 23), (date(2026, 11, 1), 25)):
        midnight = instant(on, time(0), NEW_YORK)
        assert elapsed(midnight, hours * 60) == instant(day_offset(on, 1), time(0), NEW_YORK)


def test_the_wall_clock_sum_differs_from_elapsed_time_at_a_clock_change():
    start = instant(date(2027, 3, 14), time(7, 30), NEW_YORK)
    assert wall_clock_before(start, 480, NEW_YORK) - elapsed(start, -480) == timedelta(hours=1)


def test_the_local_date_is_the_zones_own():
    late_evening = datetime(2027, 3, 15, 3, tzinfo=UTC)
    assert local_date(late_evening, NEW_YORK) == date(2027, 3, 14)
    assert local_date(late_evening, "Europe/Madrid") == date(2027, 3, 15)


@pytest.mark.parametrize(
    ("days", "expected"), [(3, "Tue 29 Feb"), (5, "Sun 27 Feb"), (7, "Fri 25 Feb")]
)
def test_counting_back_over_a_leap_day(days: int, expected: str):
    # Worked example 10: plain calendar count from Friday 2028-03-03.
    assert day_offset(date(2028, 3, 3), -days).strftime("%a %d %b") == expected


def test_counting_back_over_the_end_of_the_year():
    # Worked example 11 (decol-5d: WHO 2016, SHEA 2022; smoke-4wk: WHO/WFSA 2020).
    assert day_offset(date(2027, 1, 4), -5) == date(2026, 12, 30)
    assert day_offset(date(2027, 1, 4), -28) == date(2026, 12, 7)


def test_age_counts_whole_years():
    assert whole_years(date(1962, 3, 15), date(2027, 3, 15)) == 65
    assert whole_years(date(1962, 3, 16), date(2027, 3, 15)) == 64
    assert whole_years(date(1960, 2, 29), date(2027, 2, 28)) == 67
