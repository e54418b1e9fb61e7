"""Laws of planning, over random protocols, rules, dates, zones and enrolment times."""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from countdown_samples import (
    CHECK,
    MORNING_WASH,
    RULES,
    WASH,
    candidates,
    protocols,
    rules,
    surgeries,
    surgery,
    teaching,
    zones,
)
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bot.core.countdown import elapsed, instant, local, local_date
from bot.core.occurrences import occurrences
from bot.core.plan import make_countdown
from bot.core.planned import Countdown, PlannedPrompt
from bot.core.protocol import Anchor, Candidate, Priority, Protocol, Rules, Surgery
from bot.core.quiet import is_quiet


@dataclass(frozen=True)
class Case:
    """One drawn case and its countdown."""

    protocol: Protocol
    rules: Rules
    candidate: Candidate
    surgery: Surgery
    now: datetime
    countdown: Countdown

    @property
    def horizon(self) -> datetime:
        return max(self.now, self.candidate.enrolled_at)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    operation, own, protocol = draw(surgeries()), draw(rules()), draw(protocols())
    patient = draw(candidates(operation.on))
    now = patient.enrolled_at + timedelta(minutes=draw(st.integers(-600, 20 * 24 * 60)))
    return Case(
        protocol,
        own,
        patient,
        operation,
        now,
        make_countdown(protocol, own, patient, operation, now),
    )


def stands_alone(message: PlannedPrompt) -> bool:
    return message.priority is not Priority.TEACHING or message.time_critical


LONG_AGO = datetime(2023, 6, 1, 12, tzinfo=UTC)
quick = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@quick
@given(cases())
def test_no_prompt_in_quiet_hours_unless_marked_and_agreed(case: Case):
    for message in case.countdown.prompts:
        if is_quiet(message.due, case.surgery.zone, case.rules):
            assert message.time_critical
            assert message.to == "patient"
            assert case.candidate.dawn_agreed


@quick
@given(cases())
def test_no_prompt_before_enrolment_or_before_now(case: Case):
    assert all(message.due >= case.horizon for message in case.countdown.prompts)


@quick
@given(cases())
def test_no_prompt_after_its_window(case: Case):
    windows = {prompt.id: prompt for prompt in case.protocol.prompts}
    first_due = {
        o.key: o.due
        for prompt in case.protocol.prompts
        for o in occurrences(prompt, case.rules, case.candidate, case.surgery)
    }
    for message in case.countdown.prompts:
        assert message.due <= message.closes
        for part in message.parts:
            prompt, due = windows[part.prompt], first_due[part.key]
            assert due is not None
            if prompt.when.anchor is not Anchor.ENROLMENT:  # whose window moves with the morning
                assert message.due <= elapsed(due, prompt.window_minutes)


@quick
@given(cases())
def test_the_daily_limit_is_kept(case: Case):
    per_day = Counter((m.to, local_date(m.due, case.surgery.zone)) for m in case.countdown.prompts)
    alone = Counter(
        (m.to, local_date(m.due, case.surgery.zone))
        for m in case.countdown.prompts
        if stands_alone(m)
    )
    for day, count in per_day.items():
        assert count <= max(case.rules.daily_limit, alone[day] + 1)


@quick
@given(cases())
def test_only_teaching_is_merged_and_for_one_recipient(case: Case):
    prompts = {prompt.id: prompt for prompt in case.protocol.prompts}
    for message in case.countdown.prompts:
        parts = [prompts[part.prompt] for part in message.parts]
        assert {prompt.to for prompt in parts} == {message.to}
        if len(parts) > 1:
            assert all(p.priority is Priority.TEACHING and not p.time_critical for p in parts)


@quick
@given(cases())
def test_no_prompt_is_lost_or_doubled(case: Case):
    countdown = case.countdown
    keys = [part.key for message in countdown.prompts for part in message.parts]
    keys += [entry.key for entry in (*countdown.waiting, *countdown.skipped)]
    keys += [e.key for e in countdown.missed if e.reason != "medicine_date_past"]
    assert len(keys) == len(set(keys))
    past = {h.medicine for h in case.candidate.holds if _is_past(h.last_dose_on, case)}
    for prompt in case.protocol.prompts:
        if (prompt.only_if and not case.candidate.facts["smoker"]) or (
            prompt.to == "coach" and not case.candidate.has_coach
        ):
            continue
        for o in occurrences(prompt, case.rules, case.candidate, case.surgery):
            assert o.key in keys or (o.hold and o.hold.medicine in past), o.key


def _is_past(on: date, case: Case) -> bool:
    return on < local_date(case.horizon, case.surgery.zone)


@quick
@given(cases())
def test_a_past_medicine_date_leads_the_nurses_list(case: Case):
    told = {entry.values.get("medicine") for entry in case.countdown.missed[:2]}
    asked = any(
        p.when.anchor is Anchor.LAST_DOSE
        and (not p.only_if or case.candidate.facts["smoker"])
        and (p.to != "coach" or case.candidate.has_coach)
        for p in case.protocol.prompts
    )
    for hold in case.candidate.holds:
        if asked and _is_past(hold.last_dose_on, case):
            assert hold.medicine in told


@quick
@given(cases())
def test_messages_come_in_the_order_of_their_times(case: Case):
    due = [message.due for message in case.countdown.prompts]
    assert due == sorted(due)


@quick
@given(surgeries(), rules(), st.integers(1, 40), st.integers(0, 23), st.booleans())
def test_teaching_keeps_its_order_however_late_the_enrolment(
    operation: Surgery, own: Rules, days_ahead: int, hour: int, dawn: bool
):
    protocol = Protocol(
        "p", "P", tuple(teaching(f"{n:02}", n - 30, window_days=29) for n in range(9))
    )
    enrolled = instant(operation.on - timedelta(days=days_ahead), time(hour), operation.zone)
    patient = Candidate(enrolled, dawn_agreed=dawn)
    countdown = make_countdown(protocol, own, patient, operation, enrolled)
    parts = [part for message in countdown.prompts for part in message.parts]
    for caught_up in (True, False):
        keys = [part.key for part in parts if part.catch_up is caught_up]
        assert keys == sorted(keys)
    assert len(parts) + len(countdown.missed) == len(protocol.prompts)


@quick
@given(surgeries(), rules(), st.booleans())
def test_each_wash_is_on_the_calendar_day_that_the_practice_set(
    operation: Surgery, own: Rules, dawn: bool
):
    # An operation right after midnight would put even the last wash on the evening before.
    assume(operation.starts_at is None or operation.starts_at >= time(4))
    protocol = Protocol("p", "P", (WASH, MORNING_WASH))
    enrolled = LONG_AGO
    patient = Candidate(enrolled, dawn_agreed=dawn)
    countdown = make_countdown(protocol, own, patient, operation, enrolled)
    expected = {operation.on + timedelta(days=days) for days in own.wash_days}
    if operation.starts_at is None:
        expected.discard(operation.on)
    seen = {}
    for message in countdown.prompts:
        [part] = message.parts
        day = local_date(message.due, operation.zone)
        wash_day = date.fromisoformat(part.values["day"])
        seen[wash_day] = day
        if part.values.get("evening_before"):
            assert not dawn
            assert day == wash_day - timedelta(days=1)
        else:
            assert day == wash_day
    assert set(seen) == expected


@quick
@given(surgeries(), zones)
def test_the_local_time_of_day_survives_clock_changes(operation: Surgery, zone: str):
    enrolled = LONG_AGO
    there = surgery(operation.on, operation.starts_at, zone)
    countdown = make_countdown(
        Protocol("p", "P", (CHECK,)), RULES, Candidate(enrolled), there, enrolled
    )
    shown = [local(message.due, zone) for message in countdown.prompts]
    assert [(at.date() - there.on).days for at in shown] == list(range(-10, 0))
    assert {at.time() for at in shown} == {time(9)}
