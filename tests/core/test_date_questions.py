"""Which dates are asked about before they are stored."""

from dataclasses import replace
from datetime import date, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.date_questions import Known, date_questions
from bot.core.protocol import OfficeHours, Surgery

TODAY = date(2027, 3, 1)
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


def names(surgery: Surgery, *known: Known, hours: OfficeHours | None = None) -> list[str]:
    return [one.name for one in date_questions(surgery, TODAY, hours, known)]


def test_an_ordinary_monday_is_not_asked_about():
    assert names(KNEE) == []


@pytest.mark.parametrize(
    ("on", "expected"),
    [
        (date(2027, 3, 14), ["weekend"]),
        (date(2027, 2, 26), ["past"]),
        (date(2027, 2, 28), ["past", "weekend"]),
        (TODAY, ["today"]),
        (date(2028, 3, 15), ["far"]),
    ],
)
def test_what_is_often_a_slip_is_asked_about(on, expected):
    assert names(replace(KNEE, on=on)) == expected


def test_a_day_on_which_the_office_is_closed_is_asked_about():
    closed = OfficeHours({}, frozenset({KNEE.on}))
    assert names(KNEE, hours=closed) == ["holiday"]


@pytest.mark.parametrize(
    ("starts", "arrives", "expected"),
    [(time(2), None, ["night"]), (time(7), time(8), ["arrival"]), (None, None, [])],
)
def test_times_that_contradict_are_asked_about(starts, arrives, expected):
    assert names(replace(KNEE, starts_at=starts, arrive_at=arrives)) == expected


def test_the_other_side_of_the_same_person_is_named():
    other = Known(4, "P-4", "Rosalind Vale", replace(KNEE, side="left"))
    (question,) = date_questions(KNEE, TODAY, None, [other])
    assert question.name == "other-4"
    assert "the left knee is on record for Rosalind Vale (P-4)" in question.text


@given(st.integers(1, 365))
def test_a_working_day_within_the_year_is_never_asked_about(days):
    on = TODAY + timedelta(days=days)
    assert (names(replace(KNEE, on=on)) == []) == (on.weekday() < 5)
