from datetime import UTC, datetime, timedelta

import pytest
from dialogue_samples import shipped_book

from bot.core import escalation, on_call
from bot.core.escalation import Disposition, NotAllowed, Step
from bot.core.protocol import OfficeHours
from bot.core.taking_back import Overtaken, can_undo, noted, refuse_if_overtaken, undo

NOW = datetime(2027, 3, 1, 15, tzinfo=UTC)
ALWAYS = OfficeHours({})
ZONE = "America/New_York"


def _due(case):
    return on_call.deadline(case, ALWAYS, ZONE, shipped_book().allowed)


def later(minutes):
    return NOW + timedelta(minutes=minutes)


@pytest.fixture
def case():
    opened = escalation.open_case(1, "alarm", "fever", "urgent", "I have a fever", NOW)
    return escalation.notified(opened, "Pre-op nurse", NOW)


def test_taking_back_an_acknowledgement_puts_the_case_and_its_clock_where_they_were(case):
    taken = escalation.acknowledge(case, "Ann", later(5))
    back = undo(taken, "Ann", later(6))
    assert back.standing is case.standing
    assert _due(back) == _due(case)
    assert [e.step for e in back.entries][-2:] == [Step.ACKNOWLEDGED, Step.UNDONE]


def test_a_closed_case_is_open_again_and_its_decision_stands(case):
    decided = escalation.decide(case, Disposition.GOES_AHEAD, "Ann", "fine", later(1))
    closed = escalation.close(decided, "Ann", "told", later(2))
    back = undo(closed, "Ann", later(3))
    assert not back.closed
    assert back.disposition is Disposition.GOES_AHEAD
    assert escalation.close(back, "Ann", "told again", later(4)).closed


def test_a_slip_can_be_repeated_and_taken_back_each_time(case):
    for minute in (1, 3, 5):
        case = undo(escalation.acknowledge(case, "Ann", later(minute)), "Ann", later(minute + 1))
    assert case.standing is Step.OPENED


@pytest.mark.parametrize(("who", "minutes"), [("Bo", 1), ("Ann", 6)])
def test_not_someone_elses_and_not_later(case, who, minutes):
    taken = escalation.acknowledge(case, "Ann", later(0))
    assert not can_undo(taken, who, later(minutes))
    with pytest.raises(NotAllowed, match="cannot be taken back"):
        undo(taken, who, later(minutes))


def test_a_decision_is_never_taken_back_for_the_patient_was_told(case):
    decided = escalation.decide(case, Disposition.POSTPONED, "Ann", "fever", later(1))
    with pytest.raises(NotAllowed, match="new decision"):
        undo(decided, "Ann", later(1))


def test_nothing_is_taken_back_that_is_not_the_last_entry(case):
    taken = escalation.acknowledge(case, "Ann", later(1))
    worse = escalation.join(taken, "cough", "urgent", "and a cough", later(2))
    with pytest.raises(NotAllowed):
        undo(worse, "Ann", later(2))


def test_a_note_stops_no_clock_and_takes_no_case(case):
    after = noted(case, "Ann", "rang, no answer", later(20))
    assert after.standing is case.standing
    assert _due(after) == _due(case)


def test_an_empty_note_is_refused(case):
    with pytest.raises(NotAllowed, match="empty"):
        noted(case, "Ann", "  ", later(1))


def test_a_closed_case_takes_no_note(case):
    decided = escalation.decide(case, Disposition.GOES_AHEAD, "Ann", "fine", later(1))
    with pytest.raises(NotAllowed, match="closed"):
        noted(escalation.close(decided, "Ann", "told", later(2)), "Ann", "more", later(3))


def test_who_has_not_seen_the_other_nurses_step_is_told(case):
    seen = len(case.entries)
    taken = escalation.acknowledge(case, "Ann", later(1))
    with pytest.raises(Overtaken, match="Ann: acknowledged") as told:
        refuse_if_overtaken(taken, seen)
    assert [entry.who for entry in told.value.news] == ["Ann"]


def test_who_has_not_seen_that_it_got_worse_is_told(case):
    worse = escalation.join(case, "breathing", "emergency", "cannot breathe", later(1))
    with pytest.raises(Overtaken):
        refuse_if_overtaken(worse, len(case.entries))


def test_an_answer_that_came_meanwhile_stops_nobody(case):
    answered = escalation.answered(case, {"since": "yesterday"}, later(1))
    again = escalation.notified(answered, "Charge nurse", later(2))
    refuse_if_overtaken(again, len(case.entries))
    refuse_if_overtaken(again, None)
