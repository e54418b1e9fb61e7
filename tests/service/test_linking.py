"""Opening the chat by a link: nothing personal before the year of birth is right."""

from datetime import date, timedelta
from itertools import count

import pytest

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.store.engine import reading

CHAT, OTHER = "998877", "112233"
BORN = date(1951, 3, 14)
UPDATES = count()


class Bedside:
    """A patient enrolled on Telegram, whose address comes by the link."""

    def __init__(self, clinic, **changes):
        self.clinic = clinic
        self.bot = RecordingChannel(clinic.app.clock, "telegram")
        clinic.app.connect(self.bot)
        wish = {"channel": "telegram", "address": "", "born": BORN, "agreed": "paper"} | changes
        self.patient = clinic.enrol(**wish)
        clinic.run()

    def code(self):
        return self.clinic.app.care.enrolment_code(self.patient, "Nurse Ortiz")

    def start(self, code, chat=CHAT):
        return self.says(f"/start {code}", chat, enrol=code)

    def says(self, text, chat=CHAT, enrol=None):
        before = len(self.bot.texts_to(chat))
        self.clinic.app.handle(
            Incoming("telegram", chat, text, f"u{next(UPDATES)}", self.clinic.now, enrol=enrol)
        )
        self.clinic.app.relay()
        return self.bot.texts_to(chat)[before:]

    def personal(self):
        chart = self.clinic.app.chart(self.patient)
        rules = chart.rules
        return ("Rosalind", "Vale", "knee", "rodilla", rules.hospital, "Quill", "surgery", "1951")


@pytest.fixture
def bedside(clinic):
    return Bedside(clinic)


def test_the_year_is_asked_before_anything_personal_is_said(bedside):
    (asked,) = bedside.start(bedside.code())
    assert "YEAR" in asked
    assert "AÑO" in asked
    assert "911" in asked
    assert not [word for word in bedside.personal() if word in asked]


def test_nothing_said_to_a_phone_that_is_not_confirmed_is_personal(bedside):
    said = bedside.start(bedside.code())
    for text in ("hello?", "I have chest pain", "1950", "/start", "1949", "STOP", "who is this"):
        said += bedside.says(text)
    assert len(said) >= 5
    assert not [word for word in bedside.personal() for text in said if word in text]


def test_messages_wait_until_the_link_is_opened_and_then_come_to_the_chat(bedside):
    bedside.clinic.wait(hours=1)
    assert bedside.bot.sent == []
    assert "undelivered" not in bedside.clinic.cases(bedside.patient)
    bedside.start(bedside.code())
    (first,) = bedside.says("1951")
    assert "English" in first or "language" in first.lower()
    assert bedside.says("English"), "the chat goes on from there"


def test_of_what_was_held_only_the_newest_question_goes_out(bedside):
    bedside.clinic.wait(hours=9)
    bedside.start(bedside.code())
    assert len(bedside.says("1951")) == 1


def test_the_link_is_not_taken_for_the_word_that_brings_messages_back(bedside):
    bedside.start(bedside.code())
    bedside.says("1951")
    bedside.says("STOP")
    (said,) = bedside.start(bedside.code())
    assert bedside.clinic.app.chart(bedside.patient).conversation.stopped
    assert "already open" in said
    bedside.says("START")
    assert not bedside.clinic.app.chart(bedside.patient).conversation.stopped


def test_three_wrong_years_end_it_and_the_nurse_is_told(bedside):
    bedside.start(bedside.code())
    for year in ("1949", "1950"):
        assert "YEAR" in bedside.says(year)[0]
    (end,) = bedside.says("1952")
    assert "could not match your answers" in end
    case = bedside.clinic.cases(bedside.patient)["link_refused"]
    assert "three times" in case.opened.detail["why"]
    assert bedside.says("1951") == []


def test_the_check_outlives_a_restart(bedside):
    """The count of tries is in the record, so asking again through a new process gains nothing."""
    bedside.start(bedside.code())
    bedside.says("1949")
    with reading(bedside.clinic.app.engine) as connection:
        row = connection.exec_driver_sql("SELECT tries, state FROM identity_check").one()
    assert tuple(row) == (1, "asking")


def test_opening_the_link_again_asks_again_and_is_no_wrong_answer(bedside):
    code = bedside.code()
    bedside.start(code)
    for _ in range(4):
        assert "YEAR" in bedside.start(code)[0]
    assert bedside.says("1951")
    assert "link_refused" not in bedside.clinic.cases(bedside.patient)


def test_a_link_that_happens_to_spell_a_symptom_is_no_alarm(bedside):
    bedside.start(bedside.code())
    said = bedside.start("I-have-chest-pain_39.5C")
    assert "YEAR" in said[0]
    assert "alarm" not in bedside.clinic.cases(bedside.patient)


def test_a_code_opens_one_chat_only(bedside):
    code = bedside.code()
    bedside.start(code)
    (said,) = bedside.start(code, OTHER)
    assert "no longer works" in said
    assert bedside.says("1951", OTHER) != []
    assert bedside.clinic.app.threads(bedside.patient)[-1].detail["address"] != OTHER


def test_a_code_ends_after_three_days(bedside):
    code = bedside.code()
    bedside.clinic.times[0] += timedelta(hours=72)
    assert "no longer works" in bedside.start(code)[0]


def test_a_new_code_ends_the_one_before(bedside):
    old, new = bedside.code(), bedside.code()
    assert "no longer works" in bedside.start(old)[0]
    assert "YEAR" in bedside.start(new)[0]


def test_the_code_itself_is_nowhere_in_the_record(bedside):
    code = bedside.code()
    with reading(bedside.clinic.app.engine) as connection:
        dump = "\n".join(connection.connection.driver_connection.iterdump())
    assert code not in dump


def test_no_code_is_made_without_a_year_to_ask_for(clinic):
    bedside = Bedside(clinic, born=None)
    with pytest.raises(ValueError, match="date of birth"):
        bedside.code()


@pytest.mark.parametrize("opened", [False, True])
def test_an_alarm_from_a_phone_that_is_not_confirmed_reaches_the_nurse(bedside, opened):
    bedside.start(bedside.code())
    if opened:
        for year in ("1949", "1950", "1952"):
            bedside.says(year)
    (said,) = bedside.says("I have a fever of 102")
    case = bedside.clinic.cases(bedside.patient)["alarm"]
    assert "fever" in case.reasons
    assert "not confirmed" in case.opened.detail["from"]
    assert "911" in said


def test_an_alarm_with_the_year_in_it_opens_the_chat_as_well(bedside):
    bedside.start(bedside.code())
    bedside.says("1951, and I have a rash")
    assert "alarm" in bedside.clinic.cases(bedside.patient)
    assert bedside.says("English")


def test_a_wrong_person_who_opened_the_link_gets_nothing_more(bedside):
    bedside.start(bedside.code())
    assert bedside.says("wrong number")
    assert "link_refused" in bedside.clinic.cases(bedside.patient)
    assert bedside.says("1951") == []


def test_a_link_opened_on_another_persons_phone_is_the_nurses_matter(bedside, clinic):
    bedside.start(bedside.code())
    bedside.says("1951")
    other = clinic.enrol(reference="P-2", name="Tobias Finch", born=date(1949, 1, 2),
                         channel="telegram", address="")  # fmt: skip
    code = clinic.app.care.enrolment_code(other)
    assert "no longer works" in bedside.start(code)[0]
    assert "another person" in clinic.cases(other)["link_refused"].opened.detail["why"]


def test_a_patient_on_sms_may_move_to_the_chat_by_link(clinic):
    bedside = Bedside(clinic, channel="sms", address=clinic.patient_phone)
    bedside.start(bedside.code())
    assert "come to this chat" in bedside.says("1951")[0]
    assert bedside.says("HELP"), "the chat is theirs now"
    before = len(clinic.texts())
    clinic.wait(days=1)
    assert len(clinic.texts()) == before


def test_a_repeat_of_the_link_by_the_provider_says_nothing_twice(bedside):
    code = bedside.code()
    opened = Incoming("telegram", CHAT, "", "same", bedside.clinic.now, enrol=code)
    for _ in range(2):
        bedside.clinic.app.handle(opened)
        bedside.clinic.app.relay()
    assert len(bedside.bot.texts_to(CHAT)) == 1


def test_the_link_is_built_only_when_the_bots_name_is_known(bedside):
    app = bedside.clinic.app
    assert app.enrolment_link("abc") is None
    app.telegram_bot = "vale_countdown_bot"
    code = bedside.code()
    assert app.enrolment_link(code) == f"https://t.me/vale_countdown_bot?start={code}"
    assert len(code) == 32
