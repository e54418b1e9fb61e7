"""Consent before the first message; until then one question and nothing personal."""

from datetime import date, timedelta

import pytest

from bot.core.copies import CopyLevel
from bot.service.enrolment import CoachWish
from bot.store.engine import reading

PERSONAL = ("Rosalind", "Vale", "knee", "rodilla", "surgery", "cirug", "operation", "Quill")


def _consents(clinic):
    with reading(clinic.app.engine) as connection:
        query = "SELECT scope, given, wording, channel, address, at FROM consent ORDER BY id"
        return connection.exec_driver_sql(query).all()


@pytest.mark.parametrize("language", ["en", "es"])
def test_without_consent_the_question_goes_out_alone_and_is_not_personal(clinic, language):
    clinic.enrol(agreed="", language=language)
    clinic.wait(days=4)
    said = clinic.texts()
    assert 1 <= len(said) <= 2
    assert all("Reply" in text or "?" in text for text in said)
    assert not [word for word in PERSONAL for text in said if word in text]
    assert "STOP" in said[0]
    assert clinic.phones.sent[0].outgoing.choices


def test_no_answer_to_it_reaches_the_nurse(clinic):
    patient = clinic.enrol(agreed="")
    clinic.wait(days=4)
    assert "silent" in clinic.cases(patient)


def test_a_yes_is_kept_with_its_wording_and_the_countdown_begins(clinic):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    assert len(clinic.app.planned(patient)) <= 1
    (asked,) = clinic.texts()
    clinic.says("yes")
    ((scope, given, wording, channel, address, _),) = _consents(clinic)
    assert (scope, given, channel, address) == ("messages", 1, "sms", clinic.patient_phone)
    assert wording in asked
    assert len(clinic.app.planned(patient)) > 20
    before = len(clinic.texts())
    clinic.wait(hours=1)
    assert len(clinic.texts()) > before
    assert clinic.app.items(patient)["consent"].value == "done"


@pytest.mark.parametrize("word", ["START", "Sí", "ok yes please", "1"])
def test_a_yes_in_other_words_counts(clinic, word):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    clinic.says(word)
    assert clinic.app.chart(patient).facts["texts_agreed"] is True


def test_a_no_pauses_everything_and_the_nurse_calls(clinic):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    clinic.says("no")
    assert "consent_refused" in clinic.cases(patient)
    before = len(clinic.texts())
    clinic.wait(days=6)
    assert len(clinic.texts()) == before
    assert [row[1] for row in _consents(clinic)] == [0]


def test_start_after_a_no_and_a_stop_is_a_yes(clinic):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    clinic.says("no")
    clinic.says("STOP")
    clinic.says("START")
    assert clinic.app.chart(patient).facts["texts_agreed"] is True
    before = len(clinic.texts())
    clinic.wait(days=2)
    assert len(clinic.texts()) > before  # "your messages are on again" was true


def test_a_coachs_start_is_no_yes_of_the_patient(clinic):
    patient = clinic.with_coach(CopyLevel.REMINDERS)
    clinic.settle_in(patient)
    clinic.app.care.learn_fact(patient, "texts_agreed", False, "Nurse Ortiz")
    clinic.app.care.pause(patient, "Nurse Ortiz")
    clinic.says("START", clinic.coach_phone)
    assert clinic.app.chart(patient).facts["texts_agreed"] is False


def test_a_fever_is_an_alarm_whether_or_not_they_have_agreed(clinic):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    (said, *_) = clinic.says("I have a fever of 102")
    assert "alarm" in clinic.cases(patient)
    assert "call" in said.lower()


def test_what_the_patient_asks_is_answered_before_they_agree(clinic):
    clinic.enrol(agreed="")
    clinic.wait(hours=2)
    assert "555" in clinic.says("HELP")[0]


def test_the_coach_hears_nothing_before_the_patient_has_agreed(clinic):
    wish = CoachWish("Marguerite Vale", "sms", clinic.coach_phone, CopyLevel.EVERYTHING)
    clinic.enrol(agreed="", coach=wish)
    clinic.wait(hours=3)
    assert clinic.texts(clinic.coach_phone) == []
    clinic.says("yes")
    clinic.wait(minutes=1)
    (invitation,) = clinic.texts(clinic.coach_phone)
    assert "Rosalind" in invitation


def test_consent_on_paper_is_kept_in_the_patients_language_and_nothing_is_asked_first(clinic):
    patient = clinic.enrol(agreed="paper", language="es")
    ((scope, given, wording, *_, at),) = _consents(clinic)
    assert (scope, given) == ("messages", 1)
    assert wording.startswith("Firmado en papel")
    assert "{" not in wording
    assert str(at).startswith(f"{clinic.now:%Y-%m-%d}")
    assert len(clinic.app.planned(patient)) > 20


def test_a_form_of_the_hospitals_own_is_kept_by_its_name(clinic):
    clinic.enrol(agreed="Form 12-B of 2027")
    assert _consents(clinic)[0][2] == "Form 12-B of 2027"


def test_what_is_too_late_is_told_to_the_nurse_even_while_consent_is_open(clinic):
    soon = date(2027, 2, 10)
    full = clinic.enrol(reference="P-8", address="+12025550160")
    surgery = clinic.app.chart(full).operation.surgery
    late = type(surgery)(surgery.joint, surgery.side, soon, surgery.zone, surgery.starts_at)
    agreed = clinic.enrol(late, reference="P-9", address="+12025550161")
    asked = clinic.enrol(late, reference="P-7", address="+12025550162", agreed="")
    assert clinic.cases(asked).keys() == clinic.cases(agreed).keys()


def test_the_question_keeps_quiet_hours(clinic):
    clinic.times[0] += timedelta(hours=12)  # 22:00
    clinic.enrol(agreed="")
    clinic.wait(hours=9)
    assert clinic.texts() == []
    clinic.wait(hours=2)
    assert len(clinic.texts()) == 1


@pytest.mark.parametrize("answered", [None, "no"])
def test_a_yes_by_telephone_counts_with_its_words(clinic, answered):
    patient = clinic.enrol(agreed="")
    clinic.wait(hours=2)
    if answered:
        clinic.says(answered)
    clinic.app.care.opt_back_in(patient, "Nurse Ortiz", "She said: yes, do text me")
    assert _consents(clinic)[-1][1:3] == (1, "She said: yes, do text me")
    before = len(clinic.texts())
    clinic.wait(hours=3)
    assert len(clinic.texts()) > before + 1
    assert not clinic.app.chart(patient).conversation.paused
