from datetime import UTC, date, datetime, time

import pytest

from bot.core.copies import CopyLevel
from bot.core.escalation import Disposition, NotAllowed
from bot.core.protocol import MedicineHold

STOPPED = MedicineHold("warfarin", date(2027, 2, 9), "Dr. Ana Quill", "Last one on Tuesday.")
TO_COME = MedicineHold("naproxen", date(2027, 3, 8), "Dr. Ana Quill")
NURSE = "Nurse Ortiz"


def test_enrolling_twice_changes_nothing_twice(clinic):
    first = clinic.enrol()
    count = len(clinic.app.planned(first))
    assert clinic.enrol() == first
    assert len(clinic.app.planned(first)) == count
    assert clinic.app.everyone() == [first]


def test_late_enrolment_lists_for_the_nurse_what_cannot_be_done(clinic):
    clinic.go_to(datetime(2027, 3, 11, 15, tzinfo=UTC))
    patient = clinic.enrol(holds=(STOPPED,))
    assert "medicine_date_past" in clinic.cases(patient)
    assert clinic.cases(patient)["medicine_date_past"].severity == "urgent"


def test_a_moved_surgery_is_planned_and_told_anew(clinic):
    patient = clinic.with_coach(CopyLevel.TROUBLE_ONLY)
    clinic.settle_in(patient)
    clinic.app.care.mark_done_by_phone(patient, "home_safety", NURSE)
    clinic.app.care.mark_done_by_phone(patient, "wash_1", NURSE)
    clinic.app.care.move_surgery(patient, date(2027, 4, 12), NURSE, time(9, 0))
    clinic.app.relay()
    assert "Monday, April 12" in clinic.texts()[-1]
    assert "Monday, April 12" in clinic.texts(clinic.coach_phone)[-1]
    washes = [p for p in clinic.app.planned(patient) if p.parts[0].flow == "wash"]
    assert [p.due.date() for p in washes][:2] == [date(2027, 4, 10), date(2027, 4, 11)]
    assert clinic.app.items(patient)["home_safety"].value == "done"
    assert "wash_1" not in clinic.app.items(patient)


def test_moving_to_where_it_is_already_changes_no_plan(clinic):
    patient = clinic.enrol()
    before = clinic.app.planned(patient)
    clinic.app.care.move_surgery(patient, date(2027, 3, 15), NURSE, time(7, 30))
    assert clinic.app.planned(patient) == before


def test_a_medicine_already_stopped_is_the_prescribers_question_at_once(clinic):
    patient = clinic.enrol(holds=(STOPPED, TO_COME))
    clinic.wait(days=7)
    clinic.app.care.move_surgery(patient, date(2027, 4, 12), NURSE)
    clinic.app.relay()
    cases = clinic.cases(patient)
    assert cases["medicine_restart"].opened.detail["medicine"] == "warfarin"
    assert cases["medicine_unknown"].opened.detail["medicine"] == "naproxen"
    assert "Dr. Ana Quill must say" in clinic.texts()[-1]
    assert "warfarin" in clinic.texts()[-1]
    assert clinic.app.chart(patient).holds == ()


def test_a_surgery_brought_forward_restarts_no_medicine(clinic):
    patient = clinic.enrol(holds=(STOPPED,))
    clinic.wait(days=7)
    clinic.app.care.move_surgery(patient, date(2027, 3, 1), NURSE)
    assert "medicine_restart" not in clinic.cases(patient)


def test_postponed_without_a_date_sends_nothing_about_the_old_one(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    clinic.app.care.move_surgery(patient, None, NURSE)
    clinic.app.relay()
    assert clinic.app.planned(patient) == ()
    before = len(clinic.texts())
    clinic.wait(days=40)
    assert len(clinic.texts()) == before
    clinic.app.care.move_surgery(patient, date(2027, 5, 10), NURSE)
    assert clinic.app.planned(patient) != ()


def test_a_cancelled_surgery_ends_the_messages(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    clinic.app.tick()
    clinic.app.care.cancel_surgery(patient, NURSE)
    clinic.app.relay()
    assert "cancelled" in clinic.texts()[-1]
    before = len(clinic.texts())
    clinic.wait(days=40)
    assert len(clinic.texts()) == before


def test_an_alarm_under_way_survives_a_change_of_date(clinic):
    patient = clinic.enrol()
    clinic.says("I have a fever")
    clinic.app.care.move_surgery(patient, date(2027, 4, 12), NURSE)
    assert clinic.app.chart(patient).conversation.open.flow == "alarm_symptom"
    assert "alarm" in clinic.cases(patient)


def test_the_start_time_plans_the_fast_and_settles_its_own_escalation(clinic):
    patient = clinic.enrol()
    clinic.app.care.set_start_time(patient, time(12, 30), NURSE)
    fasting = [p for p in clinic.app.planned(patient) if p.parts[0].flow == "last_drink"]
    assert fasting
    assert "12:30" in clinic.app.chart(patient).operation.surgery.starts_at.isoformat()


def test_a_corrected_side_is_told_and_keeps_what_was_done(clinic):
    patient = clinic.enrol()
    clinic.app.care.mark_done_by_phone(patient, "home_safety", NURSE)
    clinic.app.care.correct_side_or_joint(patient, "left", "hip", NURSE)
    clinic.app.relay()
    assert "left hip" in clinic.texts()[-1]
    assert clinic.app.items(patient)["home_safety"].value == "done"


def test_a_pause_holds_the_messages_but_not_an_alarm(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    clinic.app.care.pause(patient, NURSE)
    clinic.app.relay()
    before = len(clinic.texts())
    clinic.wait(days=4)
    assert len(clinic.texts()) == before
    assert "call" in clinic.says("I have a fever")[0]
    clinic.app.care.resume(patient, NURSE)
    clinic.wait(days=4)
    assert len(clinic.texts()) > before + 2


def test_staff_bring_back_a_patient_who_opted_out(clinic):
    patient = clinic.enrol()
    clinic.says("STOP")
    clinic.app.care.opt_back_in(patient, NURSE, "I do want them after all")
    clinic.app.relay()
    assert "on again" in clinic.texts()[-1]


def test_a_hold_without_a_prescriber_is_refused(clinic):
    patient = clinic.enrol()
    with pytest.raises(ValueError, match="prescriber"):
        clinic.app.care.add_medicine_hold(
            patient, MedicineHold("aspirin", date(2027, 3, 8), " "), NURSE
        )


def test_a_hold_entered_later_is_planned(clinic):
    patient = clinic.enrol()
    clinic.app.care.add_medicine_hold(patient, TO_COME, NURSE)
    flows = {part.flow for prompt in clinic.app.planned(patient) for part in prompt.parts}
    assert {"medicine_hold_before", "medicine_hold_day"} <= flows


def test_teaching_put_off_to_another_day_outlives_planning_anew_tonight(clinic):
    clinic.go_to(datetime(2027, 3, 10, 13, 30, tzinfo=UTC))  # 8:30; meant for 10 o'clock
    patient = clinic.enrol()
    put_off = _due(clinic, patient, "soap_again")
    assert put_off.date() == date(2027, 3, 13)
    clinic.wait(hours=10)
    clinic.app.care.add_medicine_hold(patient, TO_COME, NURSE)
    assert _due(clinic, patient, "soap_again") == put_off


def test_what_is_done_no_more_is_planned_again(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    while (
        asked := clinic.app.chart(patient).conversation.open
    ) is None or asked.flow != "soap_buy":
        clinic.wait(hours=6)
    due = _due(clinic, patient, "soap_again")
    clinic.says("Done")
    clinic.app.care.add_medicine_hold(patient, TO_COME, NURSE)  # plans anew
    assert _due(clinic, patient, "soap_again") is None
    clinic.says("not done")
    assert _due(clinic, patient, "soap_again") == due


def _due(clinic, patient, prompt):
    planned = clinic.app.planned(patient)
    return next((p.due for p in planned for part in p.parts if part.prompt == prompt), None)


def _fever(clinic, **changes):
    patient = clinic.enrol(**changes)
    clinic.says("I have a fever")
    return patient, clinic.cases(patient)["alarm"].id


def test_a_case_does_not_close_without_a_decision(clinic):
    _, case = _fever(clinic)
    with pytest.raises(NotAllowed):
        clinic.app.care.close(case, NURSE, "fine")


def test_the_patient_is_told_what_was_decided_in_the_nurses_words(clinic):
    patient, case = _fever(clinic)
    clinic.app.care.decide(
        case, Disposition.SEEN_TODAY, NURSE, "sore throat too", "Please come at 2 PM, door B."
    )
    clinic.app.relay()
    assert clinic.texts()[-1] == "Please come at 2 PM, door B."
    clinic.app.care.close(case, NURSE, "seen")
    assert clinic.cases(patient) == {}
    assert clinic.app.chart(patient).conversation.escalated == frozenset()


def test_a_decision_to_postpone_withdraws_the_countdown(clinic):
    patient, case = _fever(clinic, holds=(TO_COME,))
    clinic.app.care.decide(case, Disposition.POSTPONED, NURSE, "flu")
    clinic.app.relay()
    assert clinic.app.planned(patient) == ()
    assert clinic.app.chart(patient).operation.status == "postponed"
    assert any("The office calls you" in text for text in clinic.texts()[-2:])


def test_watching_comes_back_to_the_nurse_on_its_day(clinic):
    patient, case = _fever(clinic)
    again = datetime(2027, 2, 10, 17, tzinfo=UTC)
    clinic.app.care.decide(case, Disposition.WATCH, NURSE, "low fever", recheck_at=again)
    notices = lambda: sum(line.to == "nurse" for line in clinic.app.threads(patient))  # noqa: E731
    clinic.go_to(datetime(2027, 2, 10, 16, 59, tzinfo=UTC))
    before = notices()
    clinic.go_to(again)
    assert notices() == before + 1


def test_everything_staff_do_is_in_the_audit_log(clinic):
    patient, case = _fever(clinic)
    clinic.app.care.acknowledge(case, NURSE)
    clinic.app.care.pause(patient, NURSE)
    with clinic.app.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT who, what FROM audit ORDER BY id").all()
    assert [tuple(row) for row in rows] == [
        ("enrolment", "enrolled"),
        (NURSE, "escalation"),
        (NURSE, "paused"),
    ]
