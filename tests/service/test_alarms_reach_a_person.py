"""Every alarm, in every state, through the real reader, store and on-call list.

`pytest tests/service/test_alarms_reach_a_person.py -m "slow or not slow" -s -k table` prints states
x alarms: the reason of the case, who was told, and the first words to the patient.
"""

from datetime import timedelta

import pytest

from bot.channels.base import Incoming
from bot.core.conversation import Conversation, OpenQuestion
from bot.core.conversation_json import conversation_to_json
from bot.core.escalation import Case, Step
from bot.core.flow import FlowBook
from bot.store import conversations
from bot.store.engine import writing

CALL = ("+1-202-555-01", "911", "988")
ALARMS = {  # what is written -> the reason that must be among the case's, and a number to call
    "fever": "I have a fever of 101.4",
    "cough": "I have been coughing all night",
    "rash": "there is a red rash on my leg",
    "unwell": "I feel really sick today",
    "vomiting": "I have been throwing up since noon",
    "diarrhea": "I have diarrhea",
    "sore_throat": "my throat is very sore",
    "congestion": "I have a stuffy nose and a cold",
    "urinary": "it burns when I pee",
    "skin_wound": "I have an open sore on my foot",
    "dental": "I have a toothache and swollen gums",
    "fall": "I fell down the stairs",
    "leg_swelling": "my calf is swollen and hot",
    "breathing": "I cant breathe",
    "chest_pain": "I have chest pain",
    "emergency": "I am having a stroke",
    "self_harm": "I want to kill myself",
    "exposure": "my grandson has covid and stays with us",
    "opt_out": "STOP",
    "wrong_number": "you have the wrong number",
}
QUIET = frozenset({"opt_out", "wrong_number"})  # answered by a farewell, without a number to call
VALUES = {"n": "1", "of": "3", "medicine": "lisinopril", "reason": "cough"}


def states(book: FlowBook) -> list[tuple[str, str]]:
    waiting = [(f.name, s.id) for f in book.flows.values() for s in f.states.values() if s.asked]
    own = [pair for pair in waiting if not pair[0].startswith("coach_")]  # the patient's questions
    return [("nothing", "open"), *sorted(own)]


def stand(clinic, place: int, flow: str, state: str) -> tuple[int, str]:
    """Enrol one more patient whose chat stands in this state."""
    phone = f"+1202555{place:04}"
    patient = clinic.enrol(reference=f"P-{place}", address=phone, facts={"age": 70})
    if flow != "nothing":
        found = clinic.app.practice.book.flows[flow]
        question = OpenQuestion(
            flow, found.revision, state, clinic.now, found.priority, values=VALUES,
            rung_at=clinic.now,
        )  # fmt: skip
        body = conversation_to_json(Conversation(open=question))
        with writing(clinic.app.engine) as connection:
            conversations.save_conversation(connection, patient, body, 0, None)
    return patient, phone


def hear(clinic, phone: str, text: str) -> list[str]:
    """Let the phone write, send what comes of it, and return that."""
    before = len(clinic.texts(phone))
    clinic.app.handle(Incoming("sms", phone, text, f"{phone}.{text}", clinic.now))
    clinic.app.relay()
    return clinic.texts(phone)[before:]


def cases(clinic, patient: int) -> list[Case]:
    return [seen.case for seen in clinic.app.worklist(patient)]


ONE_OF_EACH = ("fever", "breathing", "self_harm", "exposure", "wrong_number")  # the others: slow
LADDER = [a if a in ONE_OF_EACH else pytest.param(a, marks=pytest.mark.slow) for a in ALARMS]


@pytest.mark.parametrize("alarm", LADDER)
def test_an_alarm_goes_down_the_on_call_list_to_its_end_and_round_again(clinic, alarm):
    patient, phone = stand(clinic, 150, "nothing", "open")
    hear(clinic, phone, ALARMS[alarm])
    (case,) = [c for c in cases(clinic, patient) if alarm in c.reasons]
    contacts = [contact.name for contact in clinic.app.practice.on_call]
    for _ in range(len(contacts) + 2):  # the patient's own silence may tell the present one again
        seen = next(s for s in clinic.app.worklist(patient) if s.case.id == case.id)
        assert seen.deadline is not None
        clinic.times[0] = max(seen.deadline + timedelta(seconds=1), clinic.now)
        clinic.app.tick()
        found = next(c for c in cases(clinic, patient) if c.id == case.id)
        told = [entry.who for entry in found.entries if entry.step is Step.NURSE_NOTIFIED]
    in_turn = [who for place, who in enumerate(told) if place == 0 or told[place - 1] != who]
    assert in_turn[: len(contacts) + 1] == [*contacts, contacts[0]]


@pytest.mark.slow
def test_the_table_of_states_and_alarms_reaches_a_person_in_every_cell(clinic, capsys):
    book = clinic.app.practice.book
    table: dict[tuple[str, str], dict[str, str]] = {}
    place = 1000
    for flow, state in states(book):
        row = table.setdefault((flow, state), {})
        for alarm, text in ALARMS.items():
            place += 1
            row[alarm] = cell(clinic, place, flow, state, alarm, text)
    with capsys.disabled():
        for (flow, state), row in table.items():
            print(f"\n{flow}/{state}")
            for alarm, found in row.items():
                print(f"    {alarm}: {found}")
        print(f"{len(table)} states x {len(ALARMS)} alarms")
    empty = [(*at, alarm) for at, row in table.items() for alarm, c in row.items() if c == "EMPTY"]
    assert empty == []


def cell(clinic, place: int, flow: str, state: str, alarm: str, text: str) -> str:
    """The case's reasons, who was told, and the first words; "EMPTY" when a part is missing."""
    patient, phone = stand(clinic, place, flow, state)
    said = hear(clinic, phone, text)
    found = [case for case in cases(clinic, patient) if alarm in case.reasons]
    if not found or not said:
        return "EMPTY"
    told = [entry.who for entry in found[0].entries if entry.step is Step.NURSE_NOTIFIED]
    numbered = alarm in QUIET or any(number in " ".join(said) for number in CALL)
    if not told or not numbered:
        return "EMPTY"
    return f"{'+'.join(found[0].reasons)} -> {told[0]}; {said[0][:60]}"


def test_a_case_that_is_watched_comes_back_on_its_day(clinic):
    patient = clinic.enrol()
    clinic.settle_in(patient)
    for words in ("I have a cough", "today", "98.4", "nothing else"):
        clinic.says(words)
    clinic.wait(minutes=61)
    clinic.says("yes")
    case = clinic.cases(patient)["alarm"]
    care, again = clinic.app.care, clinic.now + timedelta(days=2)
    care.reach_patient(case.id, "Nurse Ortiz", "dry cough")
    care.decide(case.id, "watch", "Nurse Ortiz", "look again", None, again)
    for _ in range(47):
        clinic.wait(hours=1)
        clinic.says("1")  # whatever else is asked
    assert clinic.cases(patient)["alarm"].standing is Step.DECIDED
    clinic.wait(hours=2)
    assert clinic.cases(patient)["alarm"].standing is Step.RETURNED
    told = [e for e in clinic.cases(patient)["alarm"].entries if e.step is Step.NURSE_NOTIFIED]
    assert told[-1].at >= again


def test_a_second_alarm_is_shown_as_worse_and_the_same_again_as_the_same(clinic):
    patient = clinic.enrol()
    clinic.says("I have a cough")
    clinic.says("still coughing")
    clinic.says("now I have chest pain")
    steps = [entry.step for entry in clinic.cases(patient)["alarm"].entries]
    assert Step.WORSE in steps
    assert clinic.cases(patient)["alarm"].severity == "emergency"


def test_a_no_to_the_messages_pauses_them_and_an_alarm_is_still_answered(clinic):
    patient = clinic.enrol()
    for _ in range(40):
        clinic.wait(minutes=15)
        asked = clinic.app.chart(patient).conversation.open
        if asked is not None:
            clinic.says("no" if asked.flow == "consent" else "1")
    assert clinic.app.chart(patient).conversation.paused
    assert "consent_refused" in clinic.cases(patient)
    before = len(clinic.texts())
    clinic.wait(days=9)
    assert len(clinic.texts()) == before
    assert any("call" in text for text in clinic.says("I have a fever"))
    clinic.says("START")
    assert not clinic.app.chart(patient).conversation.paused


def test_a_coach_named_in_the_chat_is_invited_with_the_level_chosen(clinic):
    patient = clinic.enrol()
    _name_a_coach(clinic, patient, "202-555-0151", level="3")
    (coach,) = clinic.app.chart(patient).coaches
    assert (coach.name, coach.address, coach.level) == (
        "Marguerite",
        clinic.coach_phone,
        "trouble_only",
    )
    assert "Reply YES to join" in clinic.texts(clinic.coach_phone)[0]
    assert "coach_invite" not in clinic.cases(patient)


@pytest.mark.parametrize("number", ["it is in my old phone", "202-555-0150"])
def test_a_number_that_cannot_be_used_or_is_the_patients_own_goes_to_the_nurse(clinic, number):
    patient = clinic.enrol()
    _name_a_coach(clinic, patient, number, level="1")
    assert clinic.app.chart(patient).coaches == ()
    assert "coach_invite" in clinic.cases(patient)


def _name_a_coach(clinic, patient: int, number: str, level: str) -> None:
    replies = {"ask": "yes", "who": "Marguerite", "phone": number, "level": level}
    for _ in range(80):
        clinic.wait(hours=1)
        while (asked := clinic.app.chart(patient).conversation.open) is not None:
            clinic.says(replies[asked.state] if asked.flow == "coach_choice" else "1")
            if asked.flow == "coach_choice" and asked.state == "level":
                return
    raise AssertionError("the patient was not asked about a coach")


def test_the_soap_is_free_again_once_a_nurse_has_cleared_it(clinic):
    patient = clinic.enrol(facts={"soap_allergy": True})
    book = clinic.app.practice.book
    clinic.app.care.learn_fact(patient, "soap_allergy", False, "Nurse Ortiz")
    facts = clinic.app.chart(patient).facts
    gate = book.flows["wash"].states["gate"]
    assert facts["soap_allergy"] is False
    assert gate.branch[0][0][0].fact == "soap_allergy"


def test_a_car_that_broke_down_on_the_morning_is_urgent(clinic):
    patient, phone = stand(clinic, 150, "travel", "ask")
    said = hear(clinic, phone, "the car broke down on the highway")
    assert clinic.cases(patient)["cannot_attend"].severity == "urgent"
    assert "call" in said[0]


def test_a_rash_after_the_soap_holds_the_wash_until_a_nurse_has_spoken(clinic):
    patient, phone = stand(clinic, 150, "wash", "ask")
    hear(clinic, phone, "I got a red itchy rash from it")
    items = clinic.app.items(patient)
    assert items["wash_1"].value == "stopped"
    assert clinic.app.chart(patient).facts["soap_allergy"] is True


def test_the_temperature_is_entered_once_and_in_words(clinic):
    patient = clinic.enrol()
    clinic.says("I have a fever")
    clinic.says("1")
    clinic.says("101.2")
    case = clinic.cases(patient)["alarm"]
    answers = [dict(e.detail) for e in case.entries if e.step is Step.ANSWERED]
    assert answers[0]["since"] == "today"
    assert sum("temperature" in answer for answer in answers) == 1
