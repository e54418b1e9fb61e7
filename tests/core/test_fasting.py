"""Fasting cut-offs, to the minute.

Source of the hours: ASA Practice Guidelines for Preoperative Fasting, 2017 (Anesthesiology
126:376), fasting table, reaffirmed by the modular update 2023 (Anesthesiology 138:132): clear
liquids 2 h, light meal 6 h, fried or fatty food or meat 8 h or more. The cases are the project's
worked examples 1 to 7; their local times were counted by hand from those hours.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, time

import pytest
from countdown_samples import RULES, minutes_of_day, surgery, surgery_days, zones
from hypothesis import given
from hypothesis import strategies as st

from bot.core.countdown import comes_twice, elapsed, instant, local
from bot.core.fasting import cut_offs, last_moment, start_of

CHICAGO, NEW_YORK = "America/Chicago", "America/New_York"
PHOENIX, DENVER = "America/Phoenix", "America/Denver"


def shown(moment: datetime, zone: str) -> str:
    return local(moment, zone).strftime("%a %H:%M %Z")


@pytest.mark.parametrize(
    ("zone", "on", "at", "food", "light", "drink"),
    [
        (
            CHICAGO,
            date(2026, 6, 16),
            time(7, 30),
            "Mon 23:30 CDT",
            "Tue 01:30 CDT",
            "Tue 05:30 CDT",
        ),
        (
            NEW_YORK,
            date(2027, 3, 14),
            time(7, 30),
            "Sat 22:30 EST",
            "Sun 00:30 EST",
            "Sun 05:30 EDT",
        ),
        (
            NEW_YORK,
            date(2026, 11, 1),
            time(7, 30),
            "Sat 23:30 EDT",
            "Sun 01:30 EDT",
            "Sun 05:30 EST",
        ),
        (CHICAGO, date(2026, 11, 1), time(6, 0), "Sat 22:00 CDT", "Sun 00:00 CDT", "Sun 04:00 CST"),
        (
            PHOENIX,
            date(2027, 3, 14),
            time(7, 30),
            "Sat 23:30 MST",
            "Sun 01:30 MST",
            "Sun 05:30 MST",
        ),
        (
            NEW_YORK,
            date(2027, 3, 15),
            time(7, 30),
            "Sun 23:30 EDT",
            "Mon 01:30 EDT",
            "Mon 05:30 EDT",
        ),
        (
            DENVER,
            date(2026, 12, 9),
            time(13, 15),
            "Wed 05:15 MST",
            "Wed 07:15 MST",
            "Wed 11:15 MST",
        ),
    ],
    ids=[f"worked example {n}" for n in range(1, 8)],
)
def test_published_cut_offs(zone, on, at, food, light, drink):
    cut = cut_offs(RULES, surgery(on, at, zone))
    assert cut is not None
    assert shown(cut.food, zone) == food
    assert shown(cut.light_meal, zone) == light
    assert shown(cut.drink, zone) == drink


@pytest.mark.parametrize(
    ("zone", "on", "at", "food", "light", "drink"),
    [
        (
            NEW_YORK,
            date(2027, 3, 14),
            time(7, 30),
            "Sat 22:30 EST",
            "Sun 00:30 EST",
            "Sun 05:30 EDT",
        ),
        (
            NEW_YORK,
            date(2026, 11, 1),
            time(7, 30),
            "Sun 00:30 EDT",
            "Sun 01:30 EST",
            "Sun 05:30 EST",
        ),
        (CHICAGO, date(2026, 11, 1), time(6, 0), "Sat 23:00 CDT", "Sun 01:00 CDT", "Sun 04:00 CST"),
    ],
    ids=["worked example 2", "worked example 3", "worked example 4"],
)
def test_elapsed_hours_at_a_clock_change(zone, on, at, food, light, drink):
    # The elapsed column of the worked examples, before the earlier of two ways is taken.
    start = start_of(surgery(on, at, zone))
    assert start is not None
    assert shown(elapsed(start, -8 * 60), zone) == food
    assert shown(elapsed(start, -6 * 60), zone) == light
    assert shown(elapsed(start, -2 * 60), zone) == drink


def test_a_cut_off_that_comes_twice_is_the_first_and_both_readings_are_safe():
    # Worked example 3: whichever 01:30 the patient has in mind, six hours have passed at the start.
    night = surgery(date(2026, 11, 1), time(7, 30), NEW_YORK)
    cut, start = cut_offs(RULES, night), start_of(night)
    assert cut is not None
    assert start is not None
    assert comes_twice(cut.light_meal, NEW_YORK)
    assert local(cut.light_meal, NEW_YORK).fold == 0
    second_reading = elapsed(cut.light_meal, 60)
    assert (start - second_reading).total_seconds() == 6 * 3600


def test_a_day_of_clear_liquids_runs_24_hours_back():
    # Worked example 6 (hold-glp1: ASA/AGA/ASMBS/ISPCOP/SAGES, October 2024: 24 h liquid diet).
    start = instant(date(2027, 3, 15), time(7, 30), NEW_YORK)
    assert shown(last_moment(start, 24, NEW_YORK), NEW_YORK) == "Sun 07:30 EDT"


def test_an_afternoon_start_does_not_fast_from_midnight():
    # Worked example 7: from midnight the patient would go 11 h 15 min too long without a drink.
    cut = cut_offs(RULES, surgery(date(2026, 12, 9), time(13, 15), DENVER))
    assert cut is not None
    midnight = instant(date(2026, 12, 9), time(0), DENVER)
    assert (cut.drink - midnight).total_seconds() / 60 == 11 * 60 + 15


def test_the_hospitals_own_hours_count():
    longer = replace(RULES, food_hours=10.0, drink_hours=2.5, gum_mints_hours=4.0)
    cut = cut_offs(longer, surgery(date(2026, 6, 16), time(7, 30), CHICAGO))
    assert cut is not None
    times = [shown(t, CHICAGO)[4:9] for t in (cut.food, cut.drink, cut.gum_mints)]
    assert times == ["21:30", "05:00", "03:30"]


def test_no_start_no_cut_offs():
    assert cut_offs(RULES, surgery(date(2026, 6, 16), None)) is None


@given(surgery_days, minutes_of_day, zones, st.integers(1, 24))
def test_no_way_of_counting_leaves_too_few_hours(on, at, zone, hours):
    start = instant(on, at, zone)
    cut = last_moment(start, hours, zone)
    assert (start - cut).total_seconds() >= hours * 3600
    wall_hours = local(start, zone).replace(tzinfo=UTC) - local(cut, zone).replace(tzinfo=UTC)
    assert wall_hours.total_seconds() >= hours * 3600
