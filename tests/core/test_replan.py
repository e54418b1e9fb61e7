"""Planning again: what was sent stays sent, and nothing changes twice."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from countdown_samples import (
    CHECK,
    MORNING_WASH,
    NEW_YORK,
    RULES,
    SAMPLE,
    WASH,
    candidates,
    protocols,
    rules,
    surgeries,
    surgery,
    teaching,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.core.countdown import instant
from bot.core.plan import make_countdown
from bot.core.planned import Countdown
from bot.core.protocol import Candidate, Late, MedicineHold, Priority, Protocol
from bot.core.replan import Replan, StoredPrompt, put_off, replan

MONDAY = date(2027, 3, 15)
ENROLLED = datetime(2027, 2, 8, 14, tzinfo=UTC)
PATIENT = Candidate(ENROLLED, dawn_agreed=True)


def plan(
    on=MONDAY, start=time(7, 30), now=ENROLLED, protocol=SAMPLE, candidate=PATIENT
) -> Countdown:
    return make_countdown(protocol, RULES, candidate, surgery(on, start), now)


def stored(countdown: Countdown, sent_until: datetime) -> tuple[StoredPrompt, ...]:
    return tuple(StoredPrompt(p, p.due <= sent_until) for p in countdown.prompts)


def on(day: int, clock: time) -> datetime:
    return instant(date(2027, 3, day), clock, NEW_YORK)


def apply(stored: Sequence[StoredPrompt], change: Replan) -> tuple[StoredPrompt, ...]:
    """The record after `change`, as the store makes it of rows."""
    retimed = {prompt.key: prompt for prompt in change.retime}
    gone = set(change.cancel)
    kept = tuple(
        replace(s, prompt=retimed.get(s.prompt.key, s.prompt)) if not s.settled else s
        for s in stored
        if s.settled or s.prompt.key not in gone
    )
    return kept + tuple(StoredPrompt(prompt) for prompt in change.add)


def test_planning_again_with_nothing_changed_changes_nothing():
    change = replan(stored(plan(), ENROLLED), plan(), ENROLLED)
    assert (change.add, change.cancel, change.retime, change.missed) == ((), (), (), ())
    assert len(change.keep) == len(plan().prompts) - 1  # the welcome was sent


def test_planning_again_halfway_changes_nothing():
    now = on(14, time(12))
    record = stored(plan(), now)
    change = replan(record, plan(now=now), now)
    assert (change.add, change.cancel, change.retime, change.missed) == ((), (), (), ())


def test_a_new_start_time_moves_only_what_hangs_on_it():
    change = replan(stored(plan(), ENROLLED), plan(start=time(12, 30)), ENROLLED)
    assert {p.key for p in change.retime} == {"morning_wash/3", "last_food", "last_drink"}
    assert (change.add, change.cancel) == ((), ())


def test_a_start_time_that_comes_in_adds_what_waited():
    change = replan(stored(plan(start=None), ENROLLED), plan(), ENROLLED)
    assert {p.key for p in change.add} == {"morning_wash/3", "last_food", "last_drink"}


def test_a_moved_surgery_keeps_what_was_sent_and_asks_for_the_washes_again():
    now = on(13, time(18))  # the first wash is on its way when the surgery is put off by a week
    later = plan(date(2027, 3, 22), now=now)
    record = stored(plan(), now)
    change = replan(record, later, now)
    added = {p.key: p.due for p in change.add}
    assert added["wash/1+2027-03-20"] == on(20, time(17, 30))
    assert {p.key: p.due for p in change.retime}["wash/2"] == on(21, time(17, 30))
    assert not {"home", "soap", "welcome"} & added.keys()
    assert change.cancel == ()
    assert change.missed == ()


def test_a_moved_surgery_can_be_moved_again():
    now = on(13, time(18))
    record = apply(stored(plan(), now), replan(stored(plan(), now), plan(date(2027, 3, 22)), now))
    again = replan(record, plan(date(2027, 3, 29), now=now), now)
    assert "wash/1+2027-03-20" in again.cancel
    assert "wash/1+2027-03-27" in {p.key for p in again.add}


def test_what_is_no_longer_meant_for_the_patient_is_cancelled():
    protocol = Protocol("p", "P", (WASH, teaching("home", -20)))
    shorter = Protocol("p", "P", (WASH,))
    change = replan(stored(plan(protocol=protocol), ENROLLED), plan(protocol=shorter), ENROLLED)
    assert change.cancel == ("home",)


def test_a_prompt_due_this_minute_is_left_to_the_sender():
    exact = Protocol("p", "P", (replace(WASH, late=Late.NURSE),))
    due = on(13, time(17, 30))
    record = stored(plan(protocol=exact), due - timedelta(minutes=1))
    change = replan(record, plan(protocol=exact, now=due + timedelta(minutes=1)), due)
    assert "wash/1" in change.keep
    assert change.missed == ()


def test_a_new_medicine_hold_adds_its_prompt():
    held = replace(PATIENT, holds=(MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh"),))
    change = replan(stored(plan(), ENROLLED), plan(candidate=held), ENROLLED)
    assert [p.key for p in change.add] == ["hold/warfarin"]


def test_a_medicine_hold_entered_too_late_is_the_nurses():
    now = on(11, time(10))
    held = replace(PATIENT, holds=(MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh"),))
    change = replan(stored(plan(), now), plan(candidate=held, now=now), now)
    assert [(m.key, m.reason) for m in change.missed] == [("hold/warfarin", "medicine_date_past")]


def test_a_catch_up_does_not_slide_away_when_planned_again():
    late = replace(PATIENT, enrolled_at=on(11, time(10)))
    protocol = Protocol("p", "P", (teaching("home", -14),))
    first = plan(protocol=protocol, candidate=late, now=late.enrolled_at)
    five_later = late.enrolled_at + timedelta(minutes=5)
    second = plan(protocol=protocol, candidate=late, now=five_later)
    change = replan(stored(first, ENROLLED), second, five_later)
    assert change == Replan(keep=("home",))


def test_a_caught_up_safety_question_is_not_asked_again_the_next_day():
    late = replace(PATIENT, enrolled_at=on(11, time(10)))
    safety = replace(teaching("dental", -28, window_days=26), priority=Priority.SAFETY)
    protocol = Protocol("p", "P", (safety,))
    first = plan(protocol=protocol, candidate=late, now=late.enrolled_at)
    next_day = on(12, time(10))
    again = plan(protocol=protocol, candidate=late, now=next_day)
    assert [message.key for message in again.prompts] == ["dental"]
    assert replan(stored(first, next_day), again, next_day).add == ()


def test_teaching_that_queued_behind_late_teaching_keeps_its_new_time():
    late = replace(PATIENT, enrolled_at=on(11, time(9)))
    lessons = tuple(teaching(f"lesson {n}", -8, window_days=7) for n in range(4))
    protocol = Protocol("p", "P", (*lessons, teaching("part two", -4, window_days=3)))
    first = plan(protocol=protocol, candidate=late, now=late.enrolled_at)
    waiting = {p.key: p for p in first.prompts}["lesson 3"]
    assert [part.key for part in waiting.parts] == ["lesson 3"]
    assert {p.key: p.due for p in first.prompts}["part two"] == on(12, time(10))
    next_day = on(12, time(9))
    again = plan(protocol=protocol, candidate=late, now=next_day)
    change = replan(stored(first, next_day), again, next_day)
    assert (change.add, change.cancel, change.retime) == ((), (), ())
    assert change.keep == ("lesson 3", "part two")


def test_a_part_that_was_sent_leaves_a_merged_message():
    now = on(1, time(9))
    protocol = Protocol("p", "P", tuple(teaching(f"lesson {n}", -10) for n in range(5)))
    merged = plan(protocol=protocol).prompts[-1]
    assert [p.key for p in merged.parts] == ["lesson 2", "lesson 3", "lesson 4"]
    alone = replace(merged, key="lesson 3", parts=(merged.parts[1],))
    change = replan((StoredPrompt(alone, settled=True),), plan(protocol=protocol, now=now), now)
    parts = [[part.key for part in p.parts] for p in change.add]
    assert ["lesson 2", "lesson 4"] in parts


def _put_off(late: Late) -> tuple[Protocol, tuple[StoredPrompt, ...]]:
    """Four late lessons, and one of today that is put off to tomorrow behind them."""
    lessons = (teaching(f"lesson {n}", -36) for n in range(4))
    last = replace(teaching("last", -35), late=late)
    protocol = Protocol("p", "P", (*lessons, last))
    record = stored(plan(protocol=protocol), ENROLLED + timedelta(hours=1))
    assert [s.prompt.key for s in record if not s.settled] == ["lesson 3", "last"]
    return protocol, record


@pytest.mark.parametrize("late", [Late.SKIP, Late.NURSE])
def test_teaching_that_was_put_off_to_another_day_is_not_late_before_that(late):
    protocol, record = _put_off(late)
    evening = ENROLLED + timedelta(hours=9)
    new = make_countdown(
        protocol, RULES, PATIENT, surgery(MONDAY), evening, put_off=put_off(record)
    )
    change = replan(record, new, evening)
    assert (change.cancel, change.retime, change.missed) == ((), (), ())
    assert "last" in {part.key for prompt in new.prompts for part in prompt.parts}


def test_teaching_that_was_put_off_is_late_when_that_day_is_over():
    protocol, record = _put_off(Late.SKIP)
    two_days_on = ENROLLED + timedelta(days=2)
    new = make_countdown(
        protocol, RULES, PATIENT, surgery(MONDAY), two_days_on, put_off=put_off(record)
    )
    assert [lost.key for lost in new.skipped] == ["last"]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_replanning_is_idempotent_and_sends_nothing_twice(data: st.DataObject):
    operation, own = data.draw(surgeries()), data.draw(rules())
    protocol = data.draw(protocols())
    mixed = Protocol("p", "P", (*protocol.prompts, WASH, MORNING_WASH, CHECK))
    patient = data.draw(candidates(operation.on))
    first = make_countdown(mixed, own, patient, operation, patient.enrolled_at)
    now = patient.enrolled_at + timedelta(minutes=data.draw(st.integers(0, 20 * 24 * 60)))
    record = stored(first, now)
    days, start = data.draw(st.integers(-7, 30)), data.draw(st.none() | st.just(time(9)))
    moved = replace(operation, on=operation.on + timedelta(days=days), starts_at=start)
    new = make_countdown(mixed, own, patient, moved, now)
    once = apply(record, replan(record, new, now))
    second = replan(once, new, now)
    assert (second.add, second.cancel, second.retime) == ((), (), ())
    assert apply(once, second) == once
    keys = [s.prompt.key for s in once]
    assert len(keys) == len(set(keys))
    assert [s for s in once if s.settled] == [s for s in record if s.settled]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_every_planned_part_is_on_record_once_after_replanning(data: st.DataObject):
    operation, own = data.draw(surgeries()), data.draw(rules())
    patient = data.draw(candidates(operation.on))
    protocol = data.draw(protocols())
    first = make_countdown(protocol, own, patient, operation, patient.enrolled_at)
    moved = replace(operation, on=operation.on + timedelta(days=data.draw(st.integers(-7, 30))))
    now = patient.enrolled_at + timedelta(minutes=data.draw(st.integers(0, 20 * 24 * 60)))
    new = make_countdown(protocol, own, patient, moved, now)
    record = apply(stored(first, now), replan(stored(first, now), new, now))
    open_parts = [part.key for s in record if not s.settled for part in s.prompt.parts]
    assert len(open_parts) == len(set(open_parts))
    settled_parts = {part.key for s in record if s.settled for part in s.prompt.parts}
    wanted = {part.key for message in new.prompts for part in message.parts}
    assert wanted <= set(open_parts) | settled_parts


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.integers(-36, -34), st.sampled_from(Late)), min_size=6, max_size=12),
    st.integers(0, 72),
)
def test_what_is_to_come_stays_to_come_when_nothing_but_time_has_changed(lines, hours):
    lessons = (
        replace(teaching(f"lesson {n}", days), late=late) for n, (days, late) in enumerate(lines)
    )
    protocol, now = Protocol("p", "P", tuple(lessons)), ENROLLED + timedelta(hours=hours)
    record = stored(plan(protocol=protocol), now)
    new = make_countdown(protocol, RULES, PATIENT, surgery(MONDAY), now, put_off=put_off(record))
    after = apply(record, replan(record, new, now))
    assert _to_come(record) <= _to_come(after)


def _to_come(record):
    return {part.key for s in record if not s.settled for part in s.prompt.parts}
