"""Quiet hours and the daily limit (the project's own rules; see bot/core/quiet.py)."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from countdown_samples import NEW_YORK, RULES, minutes_of_day, rules, surgery_days, zones
from hypothesis import given

from bot.core.countdown import instant, local
from bot.core.planned import Part, PlannedPrompt
from bot.core.protocol import Priority
from bot.core.quiet import evening_before, is_quiet, keep_daily_limit, merge, next_waking

ON = date(2027, 3, 10)


def at(clock: time, on: date = ON) -> datetime:
    return instant(on, clock, NEW_YORK)


def message(key: str, clock: time, priority: Priority = Priority.TEACHING, to: str = "patient"):
    due = at(clock)
    closes = due + timedelta(hours=5)
    return PlannedPrompt(key, (Part(key, key, {}, key),), due, closes, to, priority)


def keys(messages) -> list[list[str]]:
    return [[part.key for part in m.parts] for m in sorted(messages, key=lambda m: m.due)]


@pytest.mark.parametrize(
    ("clock", "quiet"),
    [
        (time(7, 59), True),
        (time(8), False),
        (time(20, 59), False),
        (time(21), True),
        (time(0), True),
    ],
)
def test_quiet_hours_begin_at_nine_and_end_at_eight(clock: time, quiet: bool):
    assert is_quiet(at(clock), NEW_YORK, RULES) is quiet


def test_waking_is_the_same_morning_or_the_next():
    assert next_waking(at(time(5)), NEW_YORK, RULES) == at(time(8))
    assert next_waking(at(time(22)), NEW_YORK, RULES) == at(time(8), date(2027, 3, 11))
    assert next_waking(at(time(12)), NEW_YORK, RULES) == at(time(12))


def test_the_evening_before_is_an_hour_before_quiet_hours():
    assert evening_before(at(time(4, 45)), NEW_YORK, RULES) == at(time(20), date(2027, 3, 9))
    assert evening_before(at(time(23, 30)), NEW_YORK, RULES) == at(time(20))


@given(surgery_days, minutes_of_day, zones, rules())
def test_waking_and_evening_are_never_quiet(on, clock, zone, own):
    moment = instant(on, clock, zone)
    morning, evening = next_waking(moment, zone, own), evening_before(moment, zone, own)
    assert not is_quiet(morning, zone, own)
    assert not is_quiet(evening, zone, own)
    assert moment <= morning <= moment + timedelta(hours=25)
    if is_quiet(moment, zone, own):
        assert moment - timedelta(hours=27) < evening < moment


def test_teaching_over_the_limit_becomes_one_message_and_none_is_lost():
    day = [message(f"lesson {hour}", time(hour)) for hour in (9, 10, 11, 12, 13)]
    kept = keep_daily_limit(day, NEW_YORK, 3)
    assert keys(kept) == [["lesson 9"], ["lesson 10"], ["lesson 11", "lesson 12", "lesson 13"]]


def test_safety_stands_alone_and_counts_first():
    day = [
        message("lesson 1", time(9)),
        message("check", time(10), Priority.SAFETY),
        message("wash", time(17), Priority.TIME_CRITICAL),
        message("lesson 2", time(18)),
    ]
    assert keys(keep_daily_limit(day, NEW_YORK, 3)) == [
        ["lesson 1", "lesson 2"],
        ["check"],
        ["wash"],
    ]


def test_teaching_is_one_further_message_when_the_rest_fills_the_day():
    day = [message(f"check {n}", time(9 + n), Priority.SAFETY) for n in range(3)]
    day += [message("lesson 1", time(14)), message("lesson 2", time(15))]
    assert keys(keep_daily_limit(day, NEW_YORK, 2))[-1] == ["lesson 1", "lesson 2"]


def test_each_recipient_has_a_limit_of_their_own():
    day = [message("a", time(9)), message("b", time(10), to="coach")]
    assert len(keep_daily_limit(day, NEW_YORK, 1)) == 2


def test_what_was_sent_today_counts():
    day = [message("b", time(15)), message("c", time(16))]
    sent = [("patient", at(time(9))), ("patient", at(time(10))), ("coach", at(time(9)))]
    assert keys(keep_daily_limit(day, NEW_YORK, 3, sent)) == [["b", "c"]]


def test_a_merged_message_is_stale_when_its_first_part_is():
    one, two = message("a", time(9)), message("b", time(10))
    short = replace(two, closes=at(time(11)))
    assert merge([one, short]).closes == at(time(11))
    assert merge([one, short]).key == "a"


def test_days_are_counted_where_the_patient_lives():
    # 03:00 UTC is still the evening before in New York.
    evening = replace(message("a", time(9)), due=datetime(2027, 3, 11, 1, 0, tzinfo=UTC))
    assert local(evening.due, NEW_YORK).date() == ON
    assert len(keep_daily_limit([evening, message("b", time(9))], NEW_YORK, 1)) == 1
