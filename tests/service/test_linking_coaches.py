"""A coach opens the chat by a link of their own: no phone number, and nothing said before the year."""

from datetime import date
from itertools import count

import pytest

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.core.copies import CopyLevel

PATIENT, RUTH, OTHER = "998877", "445566", "112233"
BORN = date(1951, 3, 14)
UPDATES = count()


class Family:
    """A patient on Telegram and the coach Ruth, who is to come by a link."""

    def __init__(self, clinic, **changes):
        self.clinic, self.care = clinic, clinic.app.care
        self.bot = RecordingChannel(clinic.app.clock, "telegram")
        clinic.app.connect(self.bot)
        wish = {"channel": "telegram", "address": PATIENT, "born": BORN, "agreed": "paper"}
        self.patient = clinic.enrol(**(wish | changes))
        self.coach = self.care.add_coach(
            self.patient, "Ruth Vale", "telegram", "", CopyLevel.EVERYTHING, "Nurse Ortiz"
        )
        clinic.run()

    def code(self, coach=None):
        return self.care.enrolment_code(self.patient, "Nurse Ortiz", coach or self.coach)

    def opens(self, code, chat=RUTH):
        return self.says(f"/start {code}", chat, enrol=code)

    def says(self, text, chat=RUTH, enrol=None):
        before = len(self.bot.texts_to(chat))
        self.clinic.app.handle(
            Incoming("telegram", chat, text, f"c{next(UPDATES)}", self.clinic.now, enrol=enrol)
        )
        self.clinic.app.relay()
        return self.bot.texts_to(chat)[before:]

    def record(self):
        return next(c for c in self.clinic.app.chart(self.patient).coaches if c.id == self.coach)


@pytest.fixture
def family(clinic):
    return Family(clinic)


def test_the_coach_is_asked_for_the_patients_year_and_told_nothing_personal(family):
    (asked,) = family.opens(family.code())
    assert "YEAR was that person born" in asked
    assert "AÑO nació esa persona" in asked
    assert "911" in asked
    assert not [word for word in ("Rosalind", "Vale", "Ruth", "knee", "1951") if word in asked]


def test_the_right_year_brings_the_invitation_and_a_yes_makes_them_the_coach(family):
    family.opens(family.code())
    (invitation,) = family.says("1951")
    assert "asks you to be a coach" in invitation
    assert not family.record().active
    assert "Thank you for joining" in family.says("yes")[0]
    assert family.record().active
    assert family.record().address == RUTH


def test_copies_go_to_the_chat_that_the_link_opened(family):
    family.opens(family.code())
    family.says("1951")
    family.says("yes")
    before = len(family.bot.texts_to(RUTH))
    family.says("I have a fever of 102", PATIENT)
    assert len(family.bot.texts_to(RUTH)) > before


def test_three_wrong_years_end_it_and_nothing_was_told(family):
    family.opens(family.code())
    said = [*family.says("1950"), *family.says("1949"), *family.says("1948")]
    assert "that person" in said[0] or "asked for your help" in said[0]
    assert not [text for text in said if "Rosalind" in text]
    assert "link_refused" in family.clinic.cases(family.patient)
    assert family.record().waiting
    assert family.says("1951") == []


def test_the_invitation_waits_for_the_patients_own_consent(clinic):
    family = Family(clinic, agreed="")
    family.opens(family.code())
    (told,) = family.says("1951")
    assert "as soon as Rosalind has agreed" in told
    assert not [t for t in family.bot.texts_to(RUTH) if "asks you to be a coach" in t]
    for answer in ("1", "yes"):
        family.says(answer, PATIENT)
    assert [t for t in family.bot.texts_to(RUTH) if "asks you to be a coach" in t]


def test_the_patient_who_opens_the_coachs_link_is_told_whose_it_is(family):
    code = family.code()
    (told,) = family.opens(code, PATIENT)
    assert "for your support person" in told
    assert family.opens(code), "it was not used up"


def test_a_coach_taken_off_cannot_come_in_by_the_link(family):
    code, second = family.code(), None
    family.opens(code)
    second = family.code()
    family.care.remove_coach(family.patient, family.coach, "Nurse Ortiz")
    assert "no longer works" in family.says("1951")[0]
    assert "no longer works" in family.opens(second, OTHER)[0]
    assert not [t for t in family.bot.texts_to(RUTH) if "Rosalind" in t]


def test_of_two_phones_that_opened_links_only_the_first_becomes_the_coachs(family):
    family.opens(family.code())
    family.opens(family.code(), OTHER)
    assert family.says("1951")
    assert "no longer works" in family.says("1951", OTHER)[0]
    assert [c.address for c in family.clinic.app.chart(family.patient).coaches] == [RUTH]


def test_a_new_link_of_the_coach_ends_their_old_one_and_not_the_patients(clinic):
    family = Family(clinic, address="")
    own = family.care.enrolment_code(family.patient, "Nurse Ortiz")
    old, new = family.code(), family.code()
    assert "no longer works" in family.opens(old)[0]
    assert "YEAR" in family.opens(new)[0]
    assert "were you born" in family.opens(own, PATIENT)[0]


def test_no_link_for_a_coach_whose_phone_is_known(family):
    family.opens(family.code())
    family.says("1951")
    with pytest.raises(ValueError, match="on record already"):
        family.code()


def test_an_alarm_from_a_phone_under_check_reaches_the_nurse(family):
    family.opens(family.code())
    said = family.says("she has a fever of 103 and is shaking")
    assert any("call 911" in text for text in said)
    assert "alarm" in family.clinic.cases(family.patient)
