"""Arrival: two hours before the start, not before the doors open. Common practice, no source."""

from dataclasses import replace
from datetime import date, time

import pytest
from countdown_samples import NEW_YORK, RULES, surgery

from bot.core.arrival import Arrival, arrival
from bot.core.countdown import local
from bot.core.protocol import Surgery

ON = date(2027, 3, 15)


def arrives(at: Arrival | None) -> time:
    assert at is not None
    return local(at.at, NEW_YORK).time()


@pytest.mark.parametrize("start", [time(7), time(7, 15), time(7, 30)])
def test_early_starts_all_arrive_when_the_doors_open(start: time):
    assert arrives(arrival(RULES, surgery(ON, start))) == time(5, 30)


def test_a_later_start_arrives_two_hours_before():
    assert arrives(arrival(RULES, surgery(ON, time(12, 30)))) == time(10, 30)


def test_the_hospital_sets_its_own_doors_and_lead():
    # Worked example 1: the facility's own lead of 90 minutes gives 06:00 for a 07:30 start.
    own = replace(RULES, arrive_before_minutes=90, doors_open=time(5))
    assert arrives(arrival(own, surgery(ON, time(7, 30)))) == time(6)


def test_the_stored_arrival_wins_and_is_not_shown_as_derived():
    known = arrival(RULES, replace(surgery(ON, time(12, 30)), arrive_at=time(9, 45)))
    assert arrives(known) == time(9, 45)
    assert known is not None
    assert (known.derived, known.doubtful) == (False, False)


def test_a_stored_arrival_holds_without_a_start():
    assert arrives(arrival(RULES, replace(surgery(ON, None), arrive_at=time(6)))) == time(6)


def test_without_start_and_arrival_there_is_none():
    assert arrival(RULES, surgery(ON, None)) is None


@pytest.mark.parametrize(
    "entry",
    [surgery(ON, time(4)), replace(surgery(ON, time(9)), arrive_at=time(10))],
    ids=["start before the doors open", "arrival after the start"],
)
def test_an_arrival_that_contradicts_the_start_is_doubtful(entry: Surgery):
    found = arrival(RULES, entry)
    assert found is not None
    assert found.doubtful


def test_a_derived_arrival_never_comes_after_the_start():
    assert arrives(arrival(RULES, surgery(ON, time(4)))) == time(4)


def test_arrival_counts_real_hours_on_the_night_of_a_clock_change():
    # Clocks go forward at 02:00 on 14 March 2027; doors that open at 01:00 show the difference.
    own = replace(RULES, doors_open=time(1))
    found = arrival(own, surgery(date(2027, 3, 14), time(3, 30)))
    assert arrives(found) == time(1)
    assert arrives(arrival(own, surgery(date(2027, 3, 14), time(4, 30)))) == time(1, 30)
