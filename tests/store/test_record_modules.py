from datetime import UTC, date, datetime, time, timedelta

import pytest
from sqlalchemy import select

from bot.core import escalation
from bot.core.copies import CopyLevel
from bot.core.planned import Part, PlannedPrompt
from bot.core.protocol import MedicineHold, Priority, Surgery
from bot.core.record import Message, OnCall
from bot.store import (
    claims,
    coaches,
    conversations,
    escalations,
    firing,
    outbox,
    patients,
    picking,
    plans,
    surgeries,
)
from bot.store.engine import reading, writing
from bot.store.tables import CONVERSATION

NOW = datetime(2027, 3, 1, 14, tzinfo=UTC)
SURGERY = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


@pytest.fixture
def patient(engine):
    with writing(engine) as connection:
        made = patients.add_patient(connection, "P-1", "Rosalind Vale", None, NOW, False)
        patients.add_contact(connection, made, "sms", "+12025550150")
        surgeries.add_surgery(connection, made, "Dr. Ines Calloway", SURGERY)
        conversations.add_conversation(connection, made, "{}")
    return made


def _prompt(key: str, due: datetime) -> PlannedPrompt:
    parts = (Part("wash", "wash", {"n": "1"}),)
    return PlannedPrompt(key, parts, due, due + timedelta(hours=5), "patient", Priority.SAFETY)


def _message(key: str, address: str = "+12025550150") -> Message:
    return Message(key, None, "patient", "Rosalind", "sms", address, "Hello", (), NOW)


def test_a_reference_is_enrolled_once(engine, patient):
    with writing(engine) as connection:
        assert patients.add_patient(connection, "P-1", "R. Vale", None, NOW, False) is None
        assert patients.patient_by_reference(connection, "P-1") == patient


def test_an_address_belongs_to_one_person(engine, patient):
    with writing(engine) as connection:
        other = patients.add_patient(connection, "P-2", "Amos Reed", None, NOW, False)
        with pytest.raises(patients.AddressTaken, match="another person"):
            patients.add_contact(connection, other, "sms", "+12025550150")
        assert patients.find_party(connection, "sms", "+12025550150").patient == patient


def test_a_stopped_address_is_known_as_stopped_until_it_is_opened_again(engine, patient):
    with writing(engine) as connection:
        party = patients.address_of(connection, patient)
        patients.stop_address(connection, party, NOW, wrong=False)
        assert patients.address_of(connection, patient).stopped
        patients.reopen_address(connection, party)
        assert not patients.address_of(connection, patient).stopped


def test_facts_and_holds_keep_the_last_word(engine, patient):
    with writing(engine) as connection:
        patients.learn_fact(connection, patient, "smoker", True, "patient", NOW)
        patients.learn_fact(connection, patient, "smoker", False, "nurse", NOW)
        hold = MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ines Calloway")
        patients.put_hold(connection, patient, hold)
        assert patients.facts_of(connection, patient) == {"smoker": False}
        assert patients.holds_of(connection, patient) == (hold,)


def test_a_coach_gets_nothing_before_joining_or_after_leaving(engine, patient):
    with writing(engine) as connection:
        coach = coaches.add_coach(connection, patient, "Marguerite", CopyLevel.REMINDERS, "en")
        patients.add_contact(connection, patient, "sms", "+12025550151", coach)
        states = [coaches.coaches_of(connection, patient)[0].active]
        coaches.join(connection, coach, NOW)
        states.append(coaches.coaches_of(connection, patient)[0].active)
        coaches.leave(connection, coach, NOW)
        states.append(coaches.coaches_of(connection, patient)[0].active)
    assert states == [False, True, False]


def test_a_prompt_is_claimed_once(engine, patient):
    with writing(engine) as connection:
        operation = surgeries.operation_of(connection, patient)
        plans.put_prompts(connection, operation, [_prompt("wash.1", NOW)], NOW)
        plans.put_prompts(connection, operation, [_prompt("wash.1", NOW)], NOW)
        (found,) = picking.next_prompts(connection, NOW, picking.BEGINNING, 50)
        assert found.patient == patient
        assert picking.prompts_of(connection, [patient], NOW) == {patient: found.row}
        assert picking.next_prompts(connection, NOW, found, 50) == []
        firing.claim_all(connection, [(found.row, "sent", "")], NOW)
        with pytest.raises(firing.SettledMeanwhile):
            firing.claim_all(connection, [(found.row, "sent", "")], NOW)
        assert picking.prompts_of(connection, [patient], NOW) == {}


def test_a_chat_refuses_a_second_writer(engine, patient):
    with writing(engine) as connection:
        conversations.save_conversation(connection, patient, "one", 0, NOW)
        with pytest.raises(conversations.WrittenMeanwhile):
            conversations.save_conversation(connection, patient, "two", 0, None)
        with pytest.raises(conversations.WrittenMeanwhile):
            conversations.save_all(connection, [(patient, "three", 0, None)])
        stored = connection.execute(select(CONVERSATION.c.body, CONVERSATION.c.version))
        assert stored.one() == ("one", 1)
        assert picking.chats_of(connection, [patient], NOW) == {patient: patient}
        assert picking.chats_of(connection, [patient], NOW - timedelta(seconds=1)) == {}


def test_messages_to_one_address_leave_in_order(engine):
    with writing(engine) as connection:
        for key, address in (("a", "+12025550150"), ("b", "+12025550150"), ("c", "+12025550152")):
            outbox.queue(connection, _message(key, address))
        assert outbox.queue(connection, _message("a")) is None
        first = claims.claim(connection, NOW, 10)
        blocked = claims.claim(connection, NOW, 10)
        outbox.mark(connection, first[0].id, {"state": "sent"}, NOW)
        second = claims.claim(connection, NOW, 10)
    assert [m.key for m in first] == ["a", "c"]
    assert blocked == []
    assert [m.key for m in second] == ["b"]


def test_a_case_comes_back_with_its_whole_log(engine, patient):
    with writing(engine) as connection:
        case = escalation.open_case(patient, "alarm", "fever", "urgent", "101.2", NOW, {"a": "b"})
        stored = escalations.add_case(connection, case, NOW)
        grown = escalation.notified(stored, "Nurse Ortiz", NOW)
        escalations.save_case(connection, grown, len(stored.entries), NOW + timedelta(minutes=15))
    with reading(engine) as connection:
        assert escalations.load_case(connection, stored.id) == grown
        assert escalations.open_case_of(connection, patient, "alarm") == grown
        assert escalations.overdue(connection, NOW, 5) == []
        late = NOW + timedelta(minutes=15)
        assert escalations.overdue(connection, late, 5) == [(stored.id, patient)]


def test_a_second_open_case_on_one_topic_is_refused(engine, patient):
    case = escalation.open_case(patient, "alarm", "fever", "urgent", "101.2", NOW)
    with writing(engine) as connection:
        escalations.add_case(connection, case, NOW)
    with pytest.raises(Exception, match="UNIQUE"), writing(engine) as connection:
        escalations.add_case(connection, case, NOW)


def test_the_on_call_list_keeps_its_order(engine):
    contacts = (OnCall("Nurse Ortiz", "page", "1"), OnCall("Dr. Shaw", "sms", "+12025550160"))
    with writing(engine) as connection:
        surgeries.put_on_call(connection, "Dr. Ines Calloway", contacts)
        surgeries.put_on_call(connection, "Dr. Ines Calloway", contacts[::-1])
        assert surgeries.on_call(connection, "Dr. Ines Calloway") == contacts[::-1]
