from dataclasses import replace

import pytest

from bot.core.conversation import OpenQuestion
from bot.core.conversation_json import conversation_to_json
from bot.core.copies import CopyLevel
from bot.store import coaches, conversations
from bot.store.engine import writing

NURSE = "Nurse Ortiz"


def test_an_invited_coach_gets_only_the_invitation_until_they_say_yes(clinic):
    patient = clinic.enrol()
    clinic.app.care.add_coach(
        patient, "Marguerite Vale", "sms", clinic.coach_phone, CopyLevel.EVERYTHING, NURSE
    )
    clinic.wait(days=3)
    clinic.says("I have a fever")
    assert len(clinic.texts(clinic.coach_phone)) == 1
    assert "Reply YES to join" in clinic.texts(clinic.coach_phone)[0]


def test_a_yes_joins_and_the_patient_is_told(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    assert clinic.app.chart(patient).active_coaches[0].name == "Marguerite Vale"
    assert any("has joined as your coach" in text for text in clinic.texts())


def test_a_no_ends_it_and_the_nurse_knows(clinic):
    patient = clinic.enrol()
    clinic.app.care.add_coach(
        patient, "Marguerite Vale", "sms", clinic.coach_phone, CopyLevel.EVERYTHING, NURSE
    )
    clinic.app.relay()
    (answer,) = clinic.says("no", clinic.coach_phone)
    assert "no more messages" in answer
    assert "coach_invite" in clinic.cases(patient)
    clinic.wait(days=3)
    assert len(clinic.texts(clinic.coach_phone)) == 2


@pytest.mark.parametrize("level", CopyLevel)
@pytest.mark.parametrize("words", ["I have a fever and a rash", "bad chest pain, call someone"])
def test_a_coach_hears_of_trouble_but_not_what_it_is(clinic, level, words):
    clinic.with_coach(level)
    before = len(clinic.texts(clinic.coach_phone))
    clinic.says(words)
    (copy,) = clinic.texts(clinic.coach_phone)[before:]
    assert "911" in copy
    assert "may need you now" in copy or "may be in an emergency" in copy
    if level is not CopyLevel.EVERYTHING:
        assert not any(word in copy for word in ("fever", "rash", "chest"))


def test_a_spanish_coach_of_an_english_patient_reads_no_english(clinic):
    clinic.with_coach(CopyLevel.EVERYTHING, language="en")
    with writing(clinic.app.engine) as connection:
        coaches.set_language(connection, 1, "es")
    before = len(clinic.texts(clinic.coach_phone))
    clinic.wait(days=36)
    copies = "\n".join(clinic.texts(clinic.coach_phone)[before:])
    titles = {flow.title for flow in clinic.app.practice.book.flows.values()}
    assert copies
    assert not [title for title in titles if title in copies]
    assert "reminder" not in copies


@pytest.mark.parametrize("level", CopyLevel)
def test_copies_are_of_steps_where_a_coach_can_help(clinic, level):
    patient = clinic.with_coach(level)
    clinic.settle_in(patient)
    copies = "\n".join(clinic.texts(clinic.coach_phone)[2:])
    assert "OK to get texts" not in copies
    assert "language" not in copies
    assert "who sends these texts" not in copies


def test_less_consent_counts_from_that_moment(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.app.care.set_coach_level(patient, CopyLevel.REMINDERS, NURSE)
    before = len(clinic.texts(clinic.coach_phone))
    clinic.says("I have a fever")
    (copy,) = clinic.texts(clinic.coach_phone)[before:]
    assert "fever" not in copy
    clinic.says("yes they answered and I feel fine today")
    assert not any("no symptoms" in text for text in clinic.texts(clinic.coach_phone)[before:])


def test_a_coach_who_says_stop_gets_nothing_more_and_the_patient_goes_on(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.says("STOP", clinic.coach_phone)
    before = len(clinic.texts(clinic.coach_phone))
    clinic.wait(days=4)
    assert len(clinic.texts(clinic.coach_phone)) == before
    assert not clinic.app.chart(patient).conversation.stopped


def test_an_alarm_that_a_coach_reports_is_the_patients_alarm(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.says("she has a fever of 102", clinic.coach_phone)
    assert clinic.cases(patient)["alarm"].reasons[0] == "fever"


def test_danger_reported_by_someone_not_yet_joined_is_not_lost(clinic):
    patient = clinic.enrol()
    clinic.app.care.add_coach(
        patient, "Marguerite Vale", "sms", clinic.coach_phone, CopyLevel.EVERYTHING, NURSE
    )
    clinic.app.relay()
    (answer,) = clinic.says("Rosalind has chest pain", clinic.coach_phone)
    assert "911" in answer
    assert "alarm" in clinic.cases(patient)


def test_a_removed_coach_gets_nothing_more(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    (coach,) = clinic.app.chart(patient).active_coaches
    clinic.app.care.remove_coach(patient, coach.id, NURSE)
    before = len(clinic.texts(clinic.coach_phone))
    clinic.wait(days=2)
    assert len(clinic.texts(clinic.coach_phone)) == before


def test_a_stopped_patients_coach_gets_no_more_reminders(clinic):
    clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.says("STOP")
    before = len(clinic.texts(clinic.coach_phone))
    clinic.wait(days=10)
    assert len(clinic.texts(clinic.coach_phone)) == before


def test_no_coach_is_woken_by_good_news_but_by_trouble_they_are(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.settle_in(patient)
    clinic.wait(hours=13)  # the middle of the night
    before = len(clinic.texts(clinic.coach_phone))
    now_open = clinic.app.chart(patient).conversation
    with writing(clinic.app.engine) as connection:
        flow = clinic.app.practice.book.flows["symptom_check"]
        asked = OpenQuestion("symptom_check", flow.revision, "ask", clinic.now)
        chat = replace(now_open, open=asked)
        conversations.save_conversation(
            connection, patient, conversation_to_json(chat), chat.version, None
        )
    clinic.says("no, all fine")
    assert len(clinic.texts(clinic.coach_phone)) == before
    clinic.says("bad chest pain")
    assert "emergency" in clinic.texts(clinic.coach_phone)[-1]
