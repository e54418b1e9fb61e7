"""Every state of every conversation, met by every alarm: none is left without the right answer.

Run `pytest tests/core/test_dialogue_alarm_walk.py -s -k table` to see the table.
"""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from dialogue_samples import CONTEXT, NOON, Chat, reading, shipped_book

from bot.core.conversation import Conversation, Heard, OpenQuestion, Say
from bot.reading.reading import Act, Asked, Symptom, Temperature

SYMPTOMS = {
    symptom.value: reading(Act.SYMPTOM, symptoms=(symptom,), alert=True)
    for symptom in Symptom
    if symptom not in (Symptom.BREATHING, Symptom.CHEST_PAIN)
}
EMERGENCIES = {
    "breathing": reading(Act.EMERGENCY, symptoms=(Symptom.BREATHING,), alert=True),
    "chest_pain": reading(Act.EMERGENCY, symptoms=(Symptom.CHEST_PAIN,), alert=True),
    "emergency": reading(Act.EMERGENCY, alert=True),
}
ALARMS = {
    **SYMPTOMS,
    **EMERGENCIES,
    "fever 100.0 F at 70": reading(Act.NUMBER, temperature=Temperature(100.0, "F")),
    "self_harm": reading(Act.SELF_HARM, alert=True),
    "exposure": reading(Act.EXPOSURE, alert=True),
    "opt_out": reading(Act.OPT_OUT),
    "wrong_number": reading(Act.WRONG_NUMBER),
    "STOP and fever": reading(Act.SYMPTOM, symptoms=(Symptom.FEVER,), also=(Act.OPT_OUT,)),
    "STOP and chest pain": reading(
        Act.EMERGENCY, symptoms=(Symptom.CHEST_PAIN,), also=(Act.OPT_OUT,)
    ),
}
FIRST_FLOW = {
    **dict.fromkeys(SYMPTOMS, "alarm_symptom"),
    **dict.fromkeys(EMERGENCIES, "alarm_emergency"),
    "fever 100.0 F at 70": "alarm_symptom",
    "self_harm": "alarm_self_harm",
    "exposure": "system",
    "opt_out": "system",
    "wrong_number": "system",
    "STOP and fever": "alarm_symptom",
    "STOP and chest pain": "alarm_emergency",
}
REASON = {
    **{name: name for name in ALARMS},
    "fever 100.0 F at 70": "fever",
    "STOP and fever": "fever",
    "STOP and chest pain": "chest_pain",
}
NUMBERS = ("{call_number}", "{office_phone}", "{after_hours_phone}", "{emergency_phone}")
VALUES = {"n": "1", "of": "3", "medicine": "lisinopril", "reason": "cough"}


def states() -> list[tuple[str, str]]:
    """Every state in which a conversation can stand still, and the one with nothing open."""
    book = shipped_book()
    waiting = [(f.name, s.id) for f in book.flows.values() for s in f.states.values() if s.asked]
    return [("nothing", "open"), *sorted(waiting)]


def standing(flow: str, state: str, **changes: object) -> Chat:
    """A chat that stands in a state."""
    book = shipped_book()
    if flow == "nothing":
        return Chat(book, conversation=Conversation(**changes))  # type: ignore[arg-type]
    found = book.flows[flow]
    question = OpenQuestion(
        flow, found.revision, state, NOON, found.priority, values=VALUES, rung_at=NOON
    )
    return Chat(book, conversation=Conversation(open=question, **changes))  # type: ignore[arg-type]


def first_words(chat: Chat) -> str:
    """Everything the patient reads of the alarm's flow in the first message."""
    flow = chat.said()[0][0]
    texts = shipped_book().flows[flow].wording
    return " ".join(texts[line]["en"] for name, line in chat.said() if name == flow)


def heard(alarm: str) -> Heard:
    """The message that raises this alarm."""
    return Heard(ALARMS[alarm], alarm)


@pytest.mark.parametrize("alarm", ALARMS)
def test_every_alarm_in_every_state_gets_the_right_first_message_and_a_case(alarm: str) -> None:
    told = FIRST_FLOW[alarm]
    for flow, state in states():
        chat = standing(flow, state)
        chat.give(heard(alarm))
        assert REASON[alarm] in chat.reasons(), (flow, state)
        assert ("opt_out" in chat.reasons()) == ("STOP" in alarm or alarm == "opt_out")
        stops = alarm in ("opt_out", "wrong_number") or "STOP" in alarm
        assert chat.conversation.stopped == stops, (flow, state)
        if _is_more_of_the_same(flow, alarm):
            measured = (flow, state) == ("alarm_symptom", "temperature")
            assert measured or chat.said()[0] == ("system", "alarm_again"), (flow, state)
            continue
        assert chat.said()[0][0] == told, (flow, state)
        if told.startswith("alarm"):
            assert any(number in first_words(chat) for number in NUMBERS), (flow, state)


def _is_more_of_the_same(flow: str, alarm: str) -> bool:
    """In an alarm's own questions a further symptom is an answer, and joins the case."""
    milder = FIRST_FLOW[alarm] == "alarm_symptom" or alarm == "exposure"
    return flow.startswith("alarm_") and milder and "STOP" not in alarm


@pytest.mark.parametrize("alarm", [name for name in ALARMS if FIRST_FLOW[name] != "system"])
def test_an_alarm_after_stop_still_gets_the_safety_text_and_no_open_question(alarm: str) -> None:
    chat = standing("nothing", "open", stopped=True)
    chat.give(heard(alarm))
    assert chat.said()[0][0] == FIRST_FLOW[alarm]
    assert REASON[alarm] in chat.reasons()
    assert chat.at is None
    assert chat.turn.wake_at is None


@pytest.mark.parametrize("alarm", [name for name in ALARMS if FIRST_FLOW[name] != "system"])
def test_an_alarm_while_staff_paused_the_messages_is_answered(alarm: str) -> None:
    chat = standing("nothing", "open", paused=True)
    chat.give(heard(alarm))
    assert chat.said()[0][0] == FIRST_FLOW[alarm]
    assert REASON[alarm] in chat.reasons()


@pytest.mark.parametrize("alarm", [*SYMPTOMS, *EMERGENCIES, "self_harm"])
def test_silence_after_an_alarm_still_asks_whether_the_call_went_through(alarm: str) -> None:
    chat = standing("nothing", "open")
    chat.give(heard(alarm))
    asked = set()
    for _ in range(40):
        if chat.turn.wake_at is None:
            break
        chat.sleep_until_woken()
        asked |= set(chat.said())
        asked |= {("nurse", reason) for reason in chat.reasons()}
    assert chat.at is None
    if alarm in SYMPTOMS:
        assert ("call_check", "ask") in asked
        assert ("nurse", "call_not_through") in asked
    else:
        assert any(who == "nurse" for who, _ in asked)


def test_the_interrupted_question_comes_back_when_the_alarm_is_dealt_with() -> None:
    for flow, state in states():
        asked = flow != "nothing" and shipped_book().flows[flow].states[state].asked
        if not asked or asked is Asked.SYMPTOM_CHECK or flow.startswith("alarm"):
            continue  # a symptom is the answer to a symptom check; an alarm's own question stays
        chat = standing(flow, state)
        chat.give(heard("cough"))
        for answer in ("since yesterday", "not taken", "in the chest", "nothing more"):
            if chat.at is not None and chat.at[0] == "alarm_symptom":
                chat.hear(answer)
        assert ("system", "interrupted_back") in chat.said(), (flow, state)
        assert chat.at == (flow, state)


def test_the_table_of_states_and_alarms_has_no_empty_cell(capsys: pytest.CaptureFixture) -> None:
    """Prints states x alarms: what the patient is told first, and the reason the nurse sees."""
    cells: Counter[str] = Counter()
    for flow, state in states():
        row = []
        for alarm in ALARMS:
            chat = standing(flow, state)
            chat.give(heard(alarm))
            first = "/".join(chat.said()[0]) if chat.said() else ""
            row.append(f"{alarm}: {first} -> {'+'.join(chat.reasons())}")
            cells["empty" if not first or not chat.reasons() else "full"] += 1
        print(f"{flow}/{state}\n    " + "\n    ".join(row))
    print(dict(cells), f"{len(states())} states x {len(ALARMS)} alarms")
    assert cells == {"full": len(states()) * len(ALARMS)}


def test_an_emergency_puts_other_questions_off_for_two_hours() -> None:
    chat = standing("wash", "ask")
    chat.give(heard("emergency"))
    chat.context = replace(CONTEXT, may_ask_coach=False)
    back = chat.conversation.interrupted[0].rung_at
    assert back == chat.now + timedelta(hours=2)
    assert all(not (isinstance(e, Say) and e.flow == "wash") for e in chat.turn.effects)


def test_an_alarm_told_again_does_not_wait_behind_itself() -> None:
    """A fever, an emergency over it, then the fever again: it is asked about once, not twice."""
    chat = Chat(shipped_book())
    chat.hear("I have a fever", Act.SYMPTOM, symptoms=(Symptom.FEVER,))
    chat.hear("my chest hurts", Act.EMERGENCY, symptoms=(Symptom.CHEST_PAIN,))
    chat.hear("3", Act.CHOICE, choices=(3,))
    assert chat.conversation.open is None  # the fever's question waits until the calm is over
    assert [aside.flow for aside in chat.conversation.interrupted] == ["alarm_symptom"]
    chat.hear("I have a fever", Act.SYMPTOM, symptoms=(Symptom.FEVER,))
    asked = [*chat.conversation.interrupted, chat.conversation.open]
    fevers = [each for each in asked if each and each.values.get("reason") == "fever"]
    assert len(fevers) == 1
