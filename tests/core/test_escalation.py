from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dialogue_samples import shipped_book
from hypothesis import given
from hypothesis import strategies as st

from bot.core import escalation as esc
from bot.core import on_call
from bot.core.conversation import Copy
from bot.core.copies import CopyLevel, may_ask_coach, may_copy
from bot.core.escalation import Disposition, NotAllowed, Step
from bot.core.office import is_open, next_opening
from bot.core.protocol import OfficeHours, Surgery
from bot.core.sbar import Background, summary

NOW = datetime(2027, 3, 8, 15, tzinfo=UTC)  # a Monday, 10:00 in New York
ZONE = "America/New_York"
WEEKDAYS = {day: (time(8), time(17)) for day in range(5)}
HOURS = OfficeHours(WEEKDAYS, frozenset({date(2027, 3, 9)}))
ALWAYS = OfficeHours({})
ALLOWED = shipped_book().allowed


def _fever(severity: str = "urgent") -> esc.Case:
    return esc.open_case(1, "alarm", "fever", severity, "I have 101.2", NOW)


def _minutes(number: int) -> datetime:
    return NOW + timedelta(minutes=number)


def _decided(case: esc.Case) -> esc.Case:
    return esc.decide(case, Disposition.GOES_AHEAD, "Nurse Ortiz", "no fever now", _minutes(9))


def test_a_case_goes_from_alarm_to_close_with_who_and_when_in_its_log():
    case = esc.told(_fever(), _minutes(1))
    case = esc.notified(case, "Nurse Ortiz", _minutes(1))
    case = esc.acknowledge(case, "Nurse Ortiz", _minutes(4))
    case = esc.reach(case, "Nurse Ortiz", _minutes(8), "spoke with her")
    case = esc.close(_decided(case), "Nurse Ortiz", "well, all told", _minutes(10))
    assert [(e.step, e.at) for e in case.entries] == [
        (Step.OPENED, NOW),
        (Step.PATIENT_TOLD, _minutes(1)),
        (Step.NURSE_NOTIFIED, _minutes(1)),
        (Step.ACKNOWLEDGED, _minutes(4)),
        (Step.PATIENT_REACHED, _minutes(8)),
        (Step.DECIDED, _minutes(9)),
        (Step.CLOSED, _minutes(10)),
    ]
    assert case.closed
    assert on_call.deadline(case, ALWAYS, ZONE, ALLOWED) is None


def test_a_case_does_not_close_without_a_decision_or_without_a_note():
    with pytest.raises(NotAllowed, match="decision"):
        esc.close(_fever(), "Nurse Ortiz", "all well", _minutes(5))
    with pytest.raises(NotAllowed, match="note"):
        esc.close(_decided(_fever()), "Nurse Ortiz", "  ", _minutes(10))
    with pytest.raises(NotAllowed, match="note"):
        esc.decide(_fever(), Disposition.POSTPONED, "Nurse Ortiz", "", _minutes(5))


def test_an_alarm_after_the_decision_needs_a_new_decision():
    case = esc.join(_decided(_fever()), "rash", "urgent", "itchy red spots", _minutes(20))
    with pytest.raises(NotAllowed):
        esc.close(case, "Nurse Ortiz", "all well", _minutes(30))


def test_a_closed_case_takes_nothing_more():
    case = esc.close(_decided(_fever()), "Nurse Ortiz", "well", _minutes(10))
    with pytest.raises(NotAllowed, match="closed"):
        esc.acknowledge(case, "Nurse Ortiz", _minutes(11))


@pytest.mark.parametrize(
    ("reason", "severity", "step"),
    [
        ("fever", "urgent", Step.SAME),
        ("fever", "emergency", Step.WORSE),
        ("rash", "urgent", Step.WORSE),
        ("fever", "routine", Step.SAME),
    ],
)
def test_a_second_alarm_joins_as_worse_or_the_same(reason, severity, step):
    case = esc.join(_fever(), reason, severity, "more", _minutes(3))
    assert case.entries[-1].step is step
    assert case.entries[-1].words == "more"


def test_a_worse_alarm_takes_back_the_acknowledgement():
    case = esc.acknowledge(_fever(), "Nurse Ortiz", _minutes(1))
    worse = esc.join(case, "rash", "urgent", "spots", _minutes(10))
    assert worse.standing is Step.WORSE
    assert on_call.deadline(worse, HOURS, ZONE, ALLOWED) == _minutes(40)


def test_not_getting_through_returns_the_case_to_the_nurse():
    case = esc.returned(
        esc.acknowledge(_fever(), "Nurse Ortiz", NOW), "nobody answers", _minutes(5)
    )
    assert case.standing is Step.RETURNED
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == _minutes(35)


def test_office_hours_know_weekends_and_holidays():
    assert is_open(HOURS, ZONE, NOW)
    assert not is_open(HOURS, ZONE, NOW + timedelta(days=1))  # holiday
    assert not is_open(HOURS, ZONE, datetime(2027, 3, 8, 22, tzinfo=UTC))  # 17:00, closing
    saturday = datetime(2027, 3, 13, 15, tzinfo=UTC)
    # clocks go forward on 14 March: Monday 08:00 is 12:00 UTC, no longer 13:00
    assert next_opening(HOURS, ZONE, saturday) == datetime(2027, 3, 15, 12, tzinfo=UTC)
    assert next_opening(ALWAYS, ZONE, saturday) == saturday


MOVES = {
    "join": lambda case, at: esc.join(case, "cough", "urgent", "w", at),
    "told": esc.told,
    "notified": lambda case, at: esc.notified(case, "x", at),
    "returned": lambda case, at: esc.returned(case, "w", at),
    "acknowledge": lambda case, at: esc.acknowledge(case, "x", at),
    "reach": lambda case, at: esc.reach(case, "x", at),
    "decide": lambda case, at: esc.decide(case, Disposition.SEEN_TODAY, "x", "n", at),
    "close": lambda case, at: esc.close(case, "x", "n", at),
}


@given(st.lists(st.tuples(st.sampled_from(sorted(MOVES)), st.integers(-30, 300)), max_size=20))
def test_whatever_happens_an_open_case_has_a_deadline_and_the_log_only_grows(moves):
    case = _fever()
    for name, shift in moves:
        before = case.entries
        try:
            case = MOVES[name](case, case.entries[-1].at + timedelta(minutes=shift))
        except NotAllowed:
            continue
        assert case.entries[: len(before)] == before
        assert [e.at for e in case.entries] == sorted(e.at for e in case.entries)
        due = on_call.deadline(case, ALWAYS, ZONE, ALLOWED)
        assert case.closed == (due is None)
        if case.standing is case.entries[-1].step:  # a step forward gives new time
            assert case.closed or due > case.entries[-1].at


@pytest.mark.parametrize(
    ("level", "health", "trouble", "goes"),
    [
        (CopyLevel.EVERYTHING, True, False, True),
        (CopyLevel.EVERYTHING, False, False, True),
        (CopyLevel.REMINDERS, True, True, False),
        (CopyLevel.REMINDERS, True, False, False),
        (CopyLevel.REMINDERS, False, False, True),
        (CopyLevel.REMINDERS, False, True, True),
        (CopyLevel.TROUBLE_ONLY, False, False, False),
        (CopyLevel.TROUBLE_ONLY, True, False, False),
        (CopyLevel.TROUBLE_ONLY, True, True, True),
    ],
)
def test_a_coach_gets_the_copies_that_were_consented_to(level, health, trouble, goes):
    assert may_copy(Copy("line", {}, health, trouble), level) is goes


def test_a_coach_with_reminders_is_not_asked_about_health():
    assert not may_ask_coach(CopyLevel.REMINDERS, health=True)
    assert may_ask_coach(CopyLevel.REMINDERS, health=False)
    assert may_ask_coach(CopyLevel.TROUBLE_ONLY, health=True)


def test_silence_that_made_it_worse_is_not_quoted():
    case = esc.join(_fever(), "rash", "urgent", "", _minutes(6))
    background = Background("Rosalind Vale", "+1-202-555-0150", "Dr. Ines Calloway", None)
    text = summary(case, background, None, NOW)
    assert ": rash." in text
    assert '""' not in text


@pytest.mark.parametrize(
    ("days", "said"), [(-2, "2 days ago"), (-1, "1 day ago"), (0, "today"), (1, "in 1 day")]
)
def test_the_summary_says_how_far_off_the_surgery_is(days, said):
    on = NOW.astimezone(ZoneInfo(ZONE)).date() + timedelta(days=days)
    surgery = Surgery("knee", "right", on, ZONE, time(7, 30))
    background = Background("Rosalind Vale", "+1-202-555-0150", "Dr. Ines Calloway", surgery)
    assert f"({said})" in summary(_fever(), background, None, NOW)


def test_the_summary_is_laid_out_for_a_nurse_in_the_patients_own_words():
    case = esc.answered(_fever(), {"since": "last night"}, _minutes(2))
    case = esc.join(case, "rash", "urgent", "itchy spots too", _minutes(6))
    surgery = Surgery("knee", "right", date(2027, 3, 10), ZONE, time(7, 30))
    background = Background(
        "Rosalind Vale", "+1-202-555-0150", "Dr. Ines Calloway", surgery,
        holds=("warfarin, last dose 4 March (Dr. Ines Calloway)",), done=("wash_1",),
        coach="Marguerite", titles=(("fever", "Fever"), ("rash", "Rash")),
    )  # fmt: skip
    text = summary(case, background, _minutes(21), NOW)
    assert text.splitlines() == [
        'S: [URGENT] Rosalind Vale: Fever; Rash, Mon 08 Mar 10:00. Own words: "I have 101.2"',
        "B: right knee replacement Wed 10 Mar 2027 07:30 (in 2 days), Dr. Ines Calloway."
        " Medicine holds: warfarin, last dose 4 March (Dr. Ines Calloway). Done: wash_1."
        " Coach: Marguerite.",
        "A: Reported by message, not judged by a clinician. since: last night."
        ' WORSE Mon 08 Mar 10:06: Rash "itchy spots too".',
        "R: Please acknowledge by Mon 08 Mar 10:21, call the patient (+1 202-555-0150) and decide.",
    ]
