from datetime import date

import pytest

from bot.channels.base import Incoming
from bot.core.escalation import Step
from bot.service import turns
from bot.store.conversations import WrittenMeanwhile


def _incoming(clinic, text, number="m-1", address=None):
    return Incoming("sms", address or clinic.patient_phone, text, number, clinic.now)


def test_a_message_given_twice_takes_effect_once(clinic):
    patient = clinic.enrol()
    for _ in range(3):
        clinic.app.handle(_incoming(clinic, "I have a fever"))
    assert len([c for c in clinic.app.threads(patient) if c.who == "patient"]) == 1
    assert len(clinic.cases(patient)) == 1
    assert [e.step for e in clinic.cases(patient)["alarm"].entries] == [
        Step.OPENED,
        Step.NURSE_NOTIFIED,
    ]


def test_a_stranger_gets_one_neutral_answer_that_says_nothing_of_any_patient(clinic):
    clinic.enrol()
    first = clinic.says("who is this?", "+12025550199")
    second = clinic.says("hello?", "+12025550199")
    assert len(first) == 1
    assert "Rosalind" not in first[0]
    assert second == []


def test_an_alarm_is_with_the_nurse_before_anything_is_sent(clinic):
    patient = clinic.enrol()
    clinic.app.handle(_incoming(clinic, "I have a cough"))
    assert clinic.texts() == []
    case = clinic.cases(patient)["alarm"]
    assert case.reasons == ("cough",)
    assert case.entries[-1].step is Step.NURSE_NOTIFIED


def test_the_patient_is_told_whom_to_call_and_the_log_says_so(clinic):
    patient = clinic.enrol()
    (answer,) = clinic.says("I have a cough")
    assert "+1-202-555-0110" in answer
    steps = [entry.step for entry in clinic.cases(patient)["alarm"].entries]
    assert steps == [Step.OPENED, Step.NURSE_NOTIFIED, Step.PATIENT_TOLD]


def test_the_number_told_is_the_one_that_is_answered_now(clinic):
    clinic.enrol()
    clinic.wait(hours=12)  # 22:00 in New York
    (answer,) = clinic.says("I have a cough")
    assert "+1-202-555-0111" in answer


def test_an_emergency_word_brings_the_emergency_number_first(clinic):
    patient = clinic.enrol()
    (answer,) = clinic.says("I have chest pain")
    assert "911" in answer[:60]
    assert clinic.cases(patient)["alarm"].severity == "emergency"


def test_a_second_alarm_joins_the_open_case_as_worse(clinic):
    patient = clinic.enrol()
    clinic.says("I have a cough")
    clinic.wait(minutes=1)
    clinic.says("and now chest pain")
    case = clinic.cases(patient)["alarm"]
    assert set(case.reasons) == {"cough", "chest_pain"}
    assert Step.WORSE in [entry.step for entry in case.entries]
    assert [e.step for e in case.entries].count(Step.NURSE_NOTIFIED) == 2


def test_several_symptoms_in_one_message_are_one_notice_to_the_nurse(clinic):
    patient = clinic.enrol()
    clinic.says("fever of 101.5 and a rash")
    notices = [line for line in clinic.app.threads(patient) if line.to == "nurse"]
    assert len(notices) == 1
    assert "Fever" in notices[0].text
    assert "Rash" in notices[0].text


def test_stop_is_honoured_at_once_and_the_nurse_knows(clinic):
    patient = clinic.enrol()
    clinic.app.tick()  # the first prompt is queued, not yet sent
    answers = clinic.says("STOP")
    assert len(answers) == 1
    assert "no more messages" in answers[0]
    assert "opt_out" in clinic.cases(patient)
    before = len(clinic.texts())
    clinic.wait(days=10)
    assert len(clinic.texts()) == before


def test_stop_with_an_alarm_does_both(clinic):
    patient = clinic.enrol()
    answers = clinic.says("STOP texting me, I have chest pain")
    assert "911" in answers[0]
    assert set(clinic.cases(patient)) >= {"alarm", "opt_out"}
    assert clinic.app.chart(patient).conversation.stopped


def test_start_brings_the_messages_back(clinic):
    patient = clinic.enrol()
    clinic.says("STOP")
    assert "on again" in clinic.says("START")[0]
    before = len(clinic.texts())
    clinic.wait(days=3)
    assert len(clinic.texts()) > before
    assert not clinic.app.chart(patient).conversation.stopped


def test_a_wrong_number_gets_nothing_more_and_the_nurse_knows(clinic):
    patient = clinic.enrol()
    clinic.run()
    clinic.says("wrong number, I am not Rosalind")
    assert "wrong_number" in clinic.cases(patient)
    before = len(clinic.texts())
    clinic.wait(days=5)
    assert len(clinic.texts()) == before


def test_what_was_agreed_to_is_kept_with_the_words_that_were_shown(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    with clinic.app.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT scope, given, wording FROM consent").all()
    given = {scope: (given, wording) for scope, given, wording in rows}
    assert given["messages"][0]
    assert any(given["messages"][1] in text for text in clinic.texts())
    assert len(given["messages"][1]) > 40


def test_every_reading_is_kept_with_its_reason(clinic):
    clinic.enrol()
    clinic.says("I have a fever of 101.2")
    with clinic.app.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT act, because FROM reading").all()
    assert [row.act for row in rows] == ["symptom"]
    assert "fever" in rows[0].because


def test_the_second_of_two_writers_is_refused_and_leaves_no_trace(clinic, monkeypatch):
    patient = clinic.enrol()
    monkeypatch.setattr(
        turns.conversations,
        "save_conversation",
        lambda *_: (_ for _ in ()).throw(WrittenMeanwhile("moved")),
    )
    with pytest.raises(WrittenMeanwhile):
        clinic.app.handle(_incoming(clinic, "I have a fever"))
    monkeypatch.undo()
    assert clinic.app.threads(patient) == []
    assert clinic.cases(patient) == {}


def test_a_button_of_an_earlier_question_is_no_answer_to_the_one_now_open(clinic):
    patient = clinic.enrol()
    clinic.run()
    first = clinic.phones.sent[-1].outgoing
    clinic.says("1")
    clinic.wait(minutes=3)
    open_before = clinic.app.chart(patient).conversation.open
    assert open_before is not None
    clinic.phones.receive(clinic.patient_phone, first.choices[1], answers=first.key)
    after = clinic.app.chart(patient).conversation.open
    assert (after.flow, after.state) == (open_before.flow, open_before.state)
    items = clinic.app.items(patient)
    assert items["language"].value == "done"
    assert open_before.flow not in items
    assert clinic.cases(patient)["unread"].opened.words == first.choices[1]


def test_a_late_button_that_reports_a_symptom_is_an_alarm(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    check = clinic.app.practice.book.flows["symptom_check"]
    bad = check.labels["symptom"]["en"]
    pressed = clinic.queue_question("Symptom check", ("No, I feel well", bad))
    clinic.app.care.move_surgery(patient, date(2027, 2, 20), "Nurse Ortiz")
    clinic.wait(days=2)
    clinic.phones.receive(clinic.patient_phone, bad, answers=pressed)
    assert "alarm" in clinic.cases(patient)
