from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby

from bot.core.escalation import Step
from bot.core.protocol import Surgery
from bot.store import picking
from bot.store.engine import writing

KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


def test_a_prompt_goes_out_once_with_two_schedulers(clinic):
    patient = clinic.enrol()
    clinic.app.tick()
    clinic.app.tick()
    assert len([line for line in clinic.app.threads(patient) if line.to == "patient"]) == 1


def test_after_an_outage_nothing_stale_is_sent_and_the_nurse_gets_the_list(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    before = len(clinic.texts())
    clinic.times[0] = datetime(2027, 3, 16, 15, tzinfo=UTC)  # down until the day after surgery
    clinic.run()
    late = " ".join(clinic.texts()[before:])
    for word in ("wash", "Wash", "Stop eating", "Last drink"):
        assert word not in late
    missed = {lost.flow for lost in clinic.app.missed(patient)}
    assert {"wash", "fasting"} <= missed
    assert "too_late" in clinic.cases(patient)


def test_a_prompt_that_an_outage_made_late_into_the_night_wakes_nobody(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    (prompt, *_) = (p for p in clinic.app.planned(patient) if p.due.hour in (15, 18, 19))
    before = len(clinic.texts())
    clinic.times[0] = night = prompt.due.replace(hour=4) + timedelta(days=1)  # at 23:00 there
    clinic.app.run_due()
    assert len(clinic.texts()) == before
    clinic.times[0] = night + timedelta(hours=9, minutes=5)
    clinic.app.run_due()
    assert len(clinic.texts()) > before


def test_one_bad_row_is_put_off_told_and_does_not_stop_the_others(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    (prompt, *_) = clinic.app.planned(patient)
    with writing(clinic.app.engine) as connection:
        connection.exec_driver_sql(
            "UPDATE planned_prompt SET parts = '[{\"nonsense\": 1}]' WHERE key = ?", (prompt.key,)
        )
    clinic.times[0] = prompt.due + timedelta(minutes=1)
    done = clinic.app.tick()
    assert len(done.failed) == 1
    assert "undelivered" in clinic.cases(patient)
    with writing(clinic.app.engine) as connection:
        assert picking.prompts_of(connection, [patient], clinic.now) == {}


def test_even_a_chat_that_cannot_be_read_does_not_stop_the_scheduler(clinic):
    patient = clinic.enrol()
    with writing(clinic.app.engine) as connection:
        connection.exec_driver_sql("UPDATE conversation SET body = 'broken'")
    done = clinic.app.tick()
    assert [entry.split(":")[0] for entry in done.failed] == [
        done.failed[0].split(":")[0],
        f"case for patient {patient}",
    ]


def test_a_prompt_about_something_done_meanwhile_is_skipped(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    clinic.app.care.mark_done_by_phone(patient, "vaccines", "Nurse Ortiz")
    before = len(clinic.texts())
    clinic.wait(days=20)
    assert not any("accine" in text for text in clinic.texts()[before:])


def test_a_start_time_missing_at_noon_the_day_before_is_the_nurses_matter(clinic):
    patient = clinic.enrol(replace(KNEE, starts_at=None))
    clinic.settle_in(patient)
    clinic.go_to(datetime(2027, 3, 14, 15, 59, tzinfo=UTC))  # 11:59, clocks went forward
    assert "start_missing" not in clinic.cases(patient)
    clinic.go_to(datetime(2027, 3, 14, 16, 0, tzinfo=UTC))
    assert "start_missing" in clinic.cases(patient)


def test_a_case_nobody_takes_goes_down_the_on_call_list_and_round_again(clinic):
    patient = clinic.enrol()
    clinic.says("I have a fever")
    clinic.wait(minutes=150)
    names = [contact.name for contact in clinic.app.practice.on_call]
    assert _told_in_turn(clinic, patient)[:3] == names
    clinic.wait(minutes=60)
    assert _told_in_turn(clinic, patient)[3] == names[0]


def _told_in_turn(clinic, patient):
    """Who was told, without repeats to the same person when the patient wrote again."""
    entries = clinic.cases(patient)["alarm"].entries
    told = [entry.who for entry in entries if entry.step is Step.NURSE_NOTIFIED]
    return [name for name, _ in groupby(told)]


def test_a_case_taken_in_time_does_not_climb(clinic):
    patient = clinic.enrol()
    clinic.says("I have a fever")
    case = clinic.cases(patient)["alarm"]
    clinic.wait(minutes=5)
    clinic.app.care.acknowledge(case.id, "Nurse Ortiz")
    clinic.wait(minutes=40)
    whom = [e.who for e in clinic.cases(patient)["alarm"].entries if e.step is Step.NURSE_NOTIFIED]
    assert set(whom) == {clinic.app.practice.on_call[0].name}


OTHER = "+12025550160"


def test_a_case_that_cannot_be_read_does_not_keep_the_others_from_climbing(clinic):
    first = clinic.enrol()
    second = clinic.enrol(reference="P-2", address=OTHER)
    clinic.says("I have a fever")
    clinic.says("I have a fever", OTHER)
    with writing(clinic.app.engine) as connection:
        connection.exec_driver_sql(
            "UPDATE conversation SET body = 'broken' WHERE patient_id = ?", (first,)
        )
    clinic.times[0] += timedelta(hours=2)
    failed = [entry for entry in clinic.app.tick().failed if entry.startswith("escalation")]
    assert len(failed) == 1
    assert len(_told_in_turn(clinic, second)) == 2
    again = clinic.app.tick()  # at once: it is put off, and the scheduler does not spin
    assert not [entry for entry in again.failed if entry.startswith("escalation")]


def test_a_start_time_that_cannot_be_told_does_not_keep_the_others(clinic):
    unset = replace(KNEE, starts_at=None)
    first = clinic.enrol(unset)
    second = clinic.enrol(unset, reference="P-2", address=OTHER)
    with writing(clinic.app.engine) as connection:
        connection.exec_driver_sql(
            "UPDATE conversation SET body = 'broken' WHERE patient_id = ?", (first,)
        )
    clinic.times[0] = datetime(2027, 3, 14, 18, tzinfo=UTC)
    failed = clinic.app.tick().failed
    assert any(entry.startswith(f"start time of patient {first}") for entry in failed)
    assert "start_missing" in clinic.cases(second)
