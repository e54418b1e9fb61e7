"""Two people on one telephone, on the real record."""

from datetime import timedelta

import pytest

from bot.channels.base import Delivery, DeliveryState
from bot.core.conversation import Conversation
from bot.core.conversation_json import conversation_to_json
from bot.core.copies import CopyLevel
from bot.service.enrolment import CoachWish
from bot.service.opening_flow import open_flow
from bot.store import shared
from bot.store.conversations import save_conversation
from bot.store.engine import reading, writing
from bot.store.patients import AddressTaken

PHONE, ELSEWHERE = "+12025550150", "+12025550153"


@pytest.fixture
def couple(clinic):
    """Walter and Ruth, both patients, with one telephone; nothing is open to either."""
    walter = clinic.enrol(reference="P-1", name="Walter Hale")
    ruth = clinic.enrol(reference="P-2", name="Ruth Hale", shared=True)
    clinic.run()
    _leave_unanswered(clinic, walter, ruth)
    return clinic, walter, ruth


def _leave_unanswered(clinic, *patients):
    """Forget whatever the first day asked, so that each test says what is open."""
    for patient in patients:
        chat = clinic.app.chart(patient).conversation
        empty = conversation_to_json(Conversation(language=chat.language))
        with writing(clinic.app.engine) as connection:
            save_conversation(connection, patient, empty, chat.version, None)


def _reasons(clinic, patient):
    return {reason for case in clinic.cases(patient).values() for reason in case.reasons}


def _ask(clinic, patient, flow):
    open_flow(clinic.app.practice, patient, flow, {}, clinic.now)
    clinic.app.relay()


def _waiting(clinic):
    with reading(clinic.app.engine) as connection:
        return shared.waiting_at(connection, "sms", PHONE)


def test_a_second_person_is_refused_until_staff_allow_it(clinic):
    clinic.enrol(name="Walter Hale")
    with pytest.raises(AddressTaken, match="another person"):
        clinic.enrol(reference="P-2", name="Ruth Hale")
    assert clinic.app.find("P-2") is None
    assert clinic.enrol(reference="P-2", name="Ruth Hale", shared=True)
    with pytest.raises(AddressTaken):
        clinic.enrol(reference="P-3", name="Otto Brandt")


def test_a_phone_of_ones_own_has_no_name_at_the_head(clinic):
    clinic.enrol()
    clinic.run()
    assert not clinic.texts()[0].startswith("For ")


def test_every_message_to_a_shared_phone_begins_with_whom_it_is_for(clinic):
    clinic.enrol(name="Walter Hale")
    clinic.run()
    before = len(clinic.texts())
    clinic.enrol(reference="P-2", name="Ruth Hale", language="es", shared=True)
    clinic.wait(days=3)
    texts = clinic.texts()[before:]
    assert {text.split(":")[0] for text in texts} == {"For Walter", "Para Ruth"}


def test_what_waits_to_go_out_gets_its_name_when_a_second_person_comes(clinic):
    patient = clinic.enrol(name="Walter Hale")
    clinic.app.tick()
    clinic.enrol(reference="P-2", name="Ruth Hale", shared=True)
    clinic.app.relay()
    assert clinic.texts()[0].startswith("For Walter: ")
    assert any(line.text.startswith("For Walter: ") for line in clinic.app.threads(patient))


def test_words_are_those_of_the_one_who_was_asked(couple):
    clinic, walter, ruth = couple
    _ask(clinic, ruth, "pets")
    (answer,) = clinic.says("2")
    assert answer.startswith("For Ruth: ")
    assert "pets" in clinic.app.items(ruth)
    assert "pets" not in clinic.app.items(walter)


def test_unclear_words_are_kept_asked_about_once_and_then_read_as_the_chosen_ones(couple):
    clinic, walter, ruth = couple
    (question,) = clinic.says("I need to change the date of the surgery")
    assert question.startswith("For Walter, Ruth: Is this about Walter or Ruth?")
    assert clinic.phones.sent[-1].outgoing.choices == ("Walter", "Ruth")
    assert clinic.says("can I move it to June") == []
    assert _reasons(clinic, walter) == _reasons(clinic, ruth) == set()
    answers = clinic.says("2")
    assert all(text.startswith("For Ruth: ") for text in answers)
    assert "reschedule" in _reasons(clinic, ruth)
    assert _reasons(clinic, walter) == set()
    assert _waiting(clinic) == []
    words = [line.text for line in clinic.app.threads(ruth) if line.who == "patient"]
    assert "I need to change the date of the surgery" in words


def test_a_question_that_nobody_answers_goes_to_a_nurse_for_each(couple):
    clinic, walter, ruth = couple
    clinic.says("I need to change the date of the surgery")
    clinic.wait(hours=2, minutes=1)
    for patient in (walter, ruth):
        assert "unread" in _reasons(clinic, patient)
        words = [entry.words for entry in clinic.cases(patient)["unread"].entries]
        assert "I need to change the date of the surgery" in words
    assert _waiting(clinic) == []


@pytest.mark.parametrize(
    ("text", "reason", "number"),
    [
        ("I have a fever", "fever", "+1-202-555-0110"),
        ("bad chest pain", "chest_pain", "911"),
        ("I want to kill myself", "self_harm", "988"),
        ("101.9", "fever", "+1-202-555-0110"),
    ],
)
def test_an_alarm_of_nobody_knows_whom_is_escalated_for_both_at_once(couple, text, reason, number):
    clinic, walter, ruth = couple
    (answer,) = clinic.says(text)
    assert reason in _reasons(clinic, walter)
    assert reason in _reasons(clinic, ruth)
    assert answer.startswith("For Walter, Ruth: ")
    assert number in answer
    assert answer.count("Is this about Walter or Ruth?") == 1
    for patient in (walter, ruth):
        case = clinic.cases(patient)["alarm"]
        assert text in [entry.words for entry in case.entries]


def test_whose_the_alarm_was_is_told_and_the_other_persons_nurse_gets_a_note(couple):
    clinic, walter, ruth = couple
    clinic.says("I have a fever")
    (answer,) = clinic.says("it is Ruth")
    assert answer.startswith("For Ruth: ")
    assert clinic.app.chart(ruth).conversation.open.flow == "alarm_symptom"
    assert clinic.app.chart(walter).conversation.open is None
    notes = [entry.note for entry in clinic.cases(walter)["alarm"].entries]
    assert "From the shared telephone: the message was about Ruth." in notes
    assert not clinic.cases(walter)["alarm"].closed


def test_a_second_alarm_while_the_question_stands_is_escalated_and_asked_again(couple):
    clinic, walter, ruth = couple
    clinic.says("I have a fever")
    (answer,) = clinic.says("now chest pain too")
    assert "911" in answer
    for patient in (walter, ruth):
        assert {"fever", "chest_pain"} <= _reasons(clinic, patient)


def test_a_name_in_words_that_alarm_settles_nothing(couple):
    clinic, walter, ruth = couple
    clinic.says("I have a fever")
    clinic.says("Ruth chest pain")
    assert "chest_pain" in _reasons(clinic, walter)
    assert "chest_pain" in _reasons(clinic, ruth)


def test_the_answer_to_a_symptom_check_is_that_persons_alarm(couple):
    clinic, walter, ruth = couple
    _ask(clinic, walter, "symptom_check")
    (answer,) = clinic.says("I have a cough")
    assert answer.startswith("For Walter: ")
    assert "cough" in _reasons(clinic, walter)
    assert _reasons(clinic, ruth) == set()


def test_an_open_question_about_something_else_does_not_make_an_alarm_that_persons(couple):
    clinic, walter, ruth = couple
    _ask(clinic, ruth, "pets")
    (answer,) = clinic.says("I have a cough")
    assert "Is this about Walter or Ruth?" in answer
    assert _reasons(clinic, walter) == _reasons(clinic, ruth) == {"cough"}


def test_a_bare_number_that_may_mean_a_symptom_of_either_alarms_for_both(couple):
    clinic, walter, ruth = couple
    for patient in (walter, ruth):
        _ask(clinic, patient, "symptom_check")
    state = clinic.app.practice.book.flows["symptom_check"].states
    asked = state[clinic.app.chart(ruth).conversation.open.state]
    (answer,) = clinic.says(str(asked.choices.index("symptom") + 1))
    assert "Is this about Walter or Ruth?" in answer
    assert _reasons(clinic, walter) == _reasons(clinic, ruth) == {"unwell"}


def test_a_button_belongs_to_the_message_that_it_stands_under(couple):
    clinic, walter, ruth = couple
    _ask(clinic, walter, "pets")
    under = clinic.phones.sent[-1].outgoing
    _ask(clinic, ruth, "pets")
    clinic.phones.receive(PHONE, under.choices[1], answers=under.key)
    assert "pets" in clinic.app.items(walter)
    assert "pets" not in clinic.app.items(ruth)


def test_stop_ends_everyones_messages_with_one_confirmation_and_the_nurse_hears_of_each(couple):
    clinic, walter, ruth = couple
    _ask(clinic, ruth, "pets")
    (answer,) = clinic.says("STOP")
    assert answer.startswith("For Walter, Ruth: ")
    for patient in (walter, ruth):
        assert clinic.app.chart(patient).conversation.stopped
        assert "opt_out" in _reasons(clinic, patient)
    before = len(clinic.texts())
    clinic.wait(days=4)
    assert len(clinic.texts()) == before


def test_one_of_two_who_stopped_comes_back_alone(couple):
    clinic, walter, ruth = couple
    clinic.says("STOP")
    (question,) = clinic.says("START")
    assert "Is this about Walter or Ruth?" in question
    clinic.says("1")
    assert not clinic.app.chart(walter).conversation.stopped
    assert clinic.app.chart(ruth).conversation.stopped
    before = len(clinic.texts())
    clinic.wait(days=4)
    later = clinic.texts()[before:]
    assert later
    assert all(text.startswith("For Walter: ") for text in later)


def test_a_stop_with_an_alarm_is_both_for_each(couple):
    clinic, walter, ruth = couple
    (answer,) = clinic.says("STOP I have chest pain")
    assert "911" in answer
    for patient in (walter, ruth):
        assert {"opt_out", "chest_pain"} <= _reasons(clinic, patient)
        assert clinic.app.chart(patient).conversation.stopped


def test_a_wrong_number_is_wrong_for_both(couple):
    clinic, walter, ruth = couple
    (answer,) = clinic.says("wrong number")
    assert "no more messages" in answer
    for patient in (walter, ruth):
        assert "wrong_number" in _reasons(clinic, patient)
        assert clinic.app.chart(patient).conversation.stopped


def test_a_patient_and_their_coach_on_one_phone(clinic):
    wish = CoachWish("Ruth Hale", "sms", PHONE, CopyLevel.EVERYTHING)
    walter = clinic.enrol(name="Walter Hale", coach=wish, shared=True)
    clinic.run()
    assert any(text.startswith("For Ruth: ") for text in clinic.texts())
    _leave_unanswered(clinic, walter)
    joined = clinic.says("yes")
    assert [text.split(":")[0] for text in joined] == ["For Ruth", "For Walter"]
    (coach,) = clinic.app.chart(walter).coaches
    assert coach.active
    answers = clinic.says("I have a fever")
    assert {text.split(":")[0] for text in answers} == {"For Walter", "For Ruth"}
    assert "fever" in _reasons(clinic, walter)


def test_a_patients_phone_may_be_that_of_another_patients_coach(clinic):
    wish = CoachWish("Ruth Hale", "sms", PHONE, CopyLevel.EVERYTHING)
    walter = clinic.enrol(name="Walter Hale", address=ELSEWHERE, coach=wish)
    clinic.run()
    clinic.says("yes", PHONE)
    ruth = clinic.enrol(reference="P-2", name="Ruth Hale", shared=True)
    clinic.run()
    _leave_unanswered(clinic, walter, ruth)
    (answer,) = clinic.says("I have a fever")
    assert "Is this about Ruth Hale / Walter Hale or Ruth Hale?" in answer
    assert "fever" in _reasons(clinic, walter) & _reasons(clinic, ruth)
    clinic.says("STOP")
    assert "opt_out" in _reasons(clinic, ruth)
    assert "coach_asked" in _reasons(clinic, walter)
    assert not clinic.app.chart(walter).active_coaches
    assert not clinic.app.chart(walter).conversation.stopped


def test_removing_a_coach_leaves_the_other_persons_messages_alone(clinic):
    wish = CoachWish("Ruth Hale", "sms", PHONE, CopyLevel.EVERYTHING)
    walter = clinic.enrol(name="Walter Hale", coach=wish, shared=True)
    clinic.app.tick()
    (coach,) = clinic.app.chart(walter).coaches
    clinic.app.care.remove_coach(walter, coach.id, "Nurse Ortiz")
    clinic.app.relay()
    texts = clinic.texts()
    assert any(text.startswith("For Walter: ") for text in texts)
    assert not any(text.startswith("For Ruth: ") for text in texts)


def test_a_text_given_twice_is_kept_once(couple):
    clinic, *_ = couple
    for _ in range(2):
        clinic.phones.receive(PHONE, "what is next?", message_id="same")
    assert len(_waiting(clinic)) == 1
    assert _waiting(clinic)[0].expires_at - clinic.now == timedelta(hours=2)


def test_an_alarm_after_a_stop_still_reaches_a_nurse_for_each_and_is_answered(couple):
    clinic, walter, ruth = couple
    clinic.says("STOP")
    (answer,) = clinic.says("bad chest pain")
    assert "911" in answer
    for patient in (walter, ruth):
        assert "chest_pain" in _reasons(clinic, patient)


def test_nobodys_answer_to_whose_the_alarm_was_leaves_a_note_for_the_nurse_of_each(couple):
    clinic, walter, ruth = couple
    clinic.says("I have a fever")
    clinic.wait(hours=2, minutes=1)
    for patient in (walter, ruth):
        notes = [entry.note for entry in clinic.cases(patient)["alarm"].entries]
        assert any("nobody said whom it is about" in note for note in notes)
    assert _waiting(clinic) == []


def test_help_is_answered_at_once(couple):
    clinic, *_ = couple
    (answer,) = clinic.says("HELP")
    assert "Reply STOP" in answer
    assert _waiting(clinic) == []


def test_people_of_two_languages_are_asked_in_both(clinic):
    walter = clinic.enrol(name="Walter Hale")
    ruth = clinic.enrol(reference="P-2", name="Ruth Hale", language="es", shared=True)
    clinic.run()
    _leave_unanswered(clinic, walter, ruth)
    (answer,) = clinic.says("tengo fiebre")
    assert "Is this about Walter or Ruth?" in answer
    assert "¿Se trata de Walter o Ruth?" in answer
    assert "fever" in _reasons(clinic, walter) & _reasons(clinic, ruth)


def test_a_phone_that_takes_nothing_is_told_to_the_nurse_of_each(couple):
    clinic, walter, ruth = couple
    gone = Delivery("sms", DeliveryState.UNDELIVERED, clinic.now, address=PHONE, reason="blocked")
    clinic.app.delivered(gone)
    for patient in (walter, ruth):
        assert "undelivered" in _reasons(clinic, patient)


def test_a_phone_whose_people_cannot_be_read_does_not_keep_the_others_texts(couple):
    clinic, walter, _ = couple
    for reference, name in (("P-3", "Otto Brandt"), ("P-4", "Ilse Brandt")):
        clinic.enrol(reference=reference, name=name, address=ELSEWHERE, shared=True)
    clinic.run()
    for phone in (PHONE, ELSEWHERE):
        clinic.phones.receive(phone, "could you tell me what is next?", message_id=phone)
    with writing(clinic.app.engine) as connection:
        connection.exec_driver_sql(
            "UPDATE conversation SET body = 'broken' WHERE patient_id = ?", (walter,)
        )
    clinic.times[0] += timedelta(hours=2, minutes=1)
    done = clinic.app.tick()
    (failed,) = [entry for entry in done.failed if entry.startswith("texts kept")]
    assert done.left_open == 1
    assert "what is next" not in failed
    assert PHONE not in failed
    assert "unread" in clinic.cases(clinic.app.find("P-3"))
    again = clinic.app.tick()  # at once: it is put off, and the scheduler does not spin
    assert not [entry for entry in again.failed if entry.startswith("texts kept")]
    (kept,) = _waiting(clinic)
    assert kept.expires_at > clinic.now
