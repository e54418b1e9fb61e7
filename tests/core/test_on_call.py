from datetime import UTC, date, datetime, time, timedelta

import pytest
from dialogue_samples import shipped_book

from bot.core import escalation as esc
from bot.core import on_call
from bot.core.escalation import Disposition, NotAllowed
from bot.core.protocol import OfficeHours

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


def test_the_gravest_severity_sets_the_time_allowed():
    case = esc.join(_fever("today"), "chest_pain", "emergency", "my chest hurts", _minutes(3))
    assert case.severity == "emergency"
    assert on_call.deadline(case, ALWAYS, ZONE, ALLOWED) == _minutes(3 + 10)


def test_the_time_allowed_starts_again_with_each_person_told_and_each_step_forward():
    case = esc.notified(_fever(), "Nurse Ortiz", _minutes(0))
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == _minutes(30)
    case = esc.notified(case, "Dr. Shaw", _minutes(30))
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == _minutes(60)
    case = esc.acknowledge(case, "Dr. Shaw", _minutes(35))
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == _minutes(35 + 60)
    case = esc.reach(case, "Dr. Shaw", _minutes(40))
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == _minutes(40 + 240)


def test_saying_the_same_again_does_not_give_the_nurse_more_time():
    case = esc.notified(_fever(), "Nurse Ortiz", NOW)
    again = esc.join(case, "fever", "urgent", "still hot", _minutes(14))
    assert on_call.deadline(again, HOURS, ZONE, ALLOWED) == _minutes(30)


def test_watching_needs_a_later_moment_and_keeps_it_as_deadline():
    with pytest.raises(NotAllowed, match="look again"):
        esc.decide(_fever(), Disposition.WATCH, "Nurse Ortiz", "see", _minutes(5), _minutes(5))
    tomorrow = NOW + timedelta(days=1)
    case = esc.decide(_fever(), Disposition.WATCH, "Nurse Ortiz", "see", _minutes(5), tomorrow)
    assert on_call.deadline(case, HOURS, ZONE, ALLOWED) == tomorrow
    told_again = esc.notified(case, "Nurse Ortiz", tomorrow)
    assert on_call.deadline(told_again, HOURS, ZONE, ALLOWED) > tomorrow


def test_the_on_call_list_is_gone_through_and_then_round_again():
    contacts, case, told = ("Ortiz", "Shaw", "Reed"), _fever(), []
    for _ in range(7):
        told.append(on_call.next_contact(case, contacts))
        case = esc.notified(case, told[-1], NOW)
    assert told == ["Ortiz", "Shaw", "Reed", "Ortiz", "Shaw", "Reed", "Ortiz"]
    with pytest.raises(NotAllowed, match="on-call"):
        on_call.next_contact(case, ())


def test_a_routine_deadline_waits_for_the_office_an_urgent_one_does_not():
    evening = datetime(2027, 3, 8, 23, tzinfo=UTC)  # 18:00 on Monday; Tuesday is a holiday
    routine = esc.open_case(1, "question", "question", "today", "may I?", evening)
    wednesday = datetime(2027, 3, 10, 13, tzinfo=UTC)  # 08:00
    assert on_call.deadline(routine, HOURS, ZONE, ALLOWED) == wednesday
    urgent = esc.open_case(1, "alarm", "fever", "urgent", "hot", evening)
    assert on_call.deadline(urgent, HOURS, ZONE, ALLOWED) == evening + timedelta(minutes=30)
