"""Laws of the dialogue, tried on random conversations with the shipped content."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from dialogue_samples import CONTEXT, NEW_YORK, Chat, shipped_book, shipped_rules
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.core import conversation_json
from bot.core.conversation import Escalate, Heard, PromptDue, Record, Say
from bot.core.conversation_json import conversation_from_json, conversation_to_json
from bot.core.dialogue_draft import asks
from bot.core.protocol import Priority
from bot.core.quiet import is_quiet
from bot.reading.reading import Act, Reading, Symptom, Temperature

CALM = [act for act in Act if act not in (Act.SYMPTOM, Act.EMERGENCY, Act.SELF_HARM, Act.EXPOSURE)]
TEXTS = ("1", "2", "9", "later", "yes", "no", "mfphm", "since monday", "", "Hecho", "101.2")
FLOWS = sorted(name for name, flow in shipped_book().flows.items() if flow.states)
ASKING = [name for name in FLOWS if asks(shipped_book().flows[name])]


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    act = draw(st.sampled_from([*CALM, *Act]))
    symptoms = draw(st.lists(st.sampled_from(list(Symptom)), max_size=2))
    return Reading(
        act,
        symptoms=tuple(symptoms) if act in (Act.SYMPTOM, Act.EMERGENCY) else (),
        temperature=draw(st.sampled_from([None, None, Temperature(98.6, "F")])),
        choices=(draw(st.integers(1, 9)),) if act is Act.CHOICE else (),
        alert=draw(st.booleans()),
        also=tuple(draw(st.lists(st.sampled_from(CALM), max_size=1))),
    )


@st.composite
def steps(draw: st.DrawFn) -> tuple[str, object, int]:
    minutes = draw(st.sampled_from([0, 1, 7, 45, 60, 240, 900, 2000]))
    kind = draw(st.sampled_from(["prompt", "hear", "hear", "time", "woken", "woken"]))
    if kind == "prompt":
        flow = draw(st.sampled_from(FLOWS))
        values = {"n": draw(st.sampled_from("123")), "of": "3", "medicine": "lisinopril"}
        to = draw(st.sampled_from(["patient", "patient", "patient", "coach"]))
        hours = draw(st.sampled_from([-1, 2, 24]))
        return kind, (flow, values, to, draw(st.sampled_from(list(Priority))), hours), minutes
    if kind == "hear":
        by = draw(st.sampled_from(["patient", "patient", "coach"]))
        return kind, (draw(readings()), draw(st.sampled_from(TEXTS)), by), minutes
    return kind, None, minutes


walks = st.lists(steps(), min_size=1, max_size=25)
starts = st.datetimes(datetime(2027, 2, 1), datetime(2027, 4, 1)).map(  # noqa: DTZ001
    lambda moment: moment.replace(tzinfo=UTC)
)


def fresh(start: datetime, coach: bool) -> Chat:
    context = replace(CONTEXT, rules=shipped_rules(), has_coach=coach, may_ask_coach=coach)
    return Chat(shipped_book(), context, start)


def take(chat: Chat, step: tuple[str, object, int]) -> None:
    kind, what, minutes = step
    if kind == "prompt":
        flow, values, to, priority, hours = what
        now = chat.now + timedelta(minutes=minutes)
        key = f"{flow}:{to}:{now.isoformat()}"
        closes = now + timedelta(hours=hours)
        chat.give(PromptDue(key, ((flow, values),), to, priority, closes), minutes)
    elif kind == "hear":
        chat.give(Heard(*what), minutes)
    elif kind == "woken" and chat.turn.wake_at is not None:
        chat.sleep_until_woken()
    else:
        chat.wait(minutes)


RANDOM = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


@RANDOM
@given(walks, starts, st.booleans())
def test_a_restart_at_any_point_changes_nothing(walk, start, coach):
    chat, restarted = fresh(start, coach), fresh(start, coach)
    for step in walk:
        take(chat, step)
        text = conversation_to_json(restarted.conversation)
        conversation_json._at_hand.clear()
        restarted.conversation = conversation_from_json(text)
        take(restarted, step)
        assert restarted.turn == chat.turn


@RANDOM
@given(walks, starts, st.booleans())
def test_what_waits_is_woken_later_and_what_is_stopped_is_left_alone(walk, start, coach):
    chat = fresh(start, coach)
    for step in walk:
        take(chat, step)
        wake = chat.turn.wake_at
        assert wake is None or wake > chat.now
        stopped = chat.conversation.stopped
        assert not (stopped and (chat.conversation.open or chat.conversation.waiting))
        if chat.conversation.open is not None and not chat.conversation.paused:
            assert wake is not None


@RANDOM
@given(walks, starts, st.booleans())
def test_every_open_question_ends_if_nobody_ever_writes_again(walk, start, coach):
    chat = fresh(start, coach)
    for step in walk:
        take(chat, step)
    for _ in range(120):
        if chat.turn.wake_at is None:
            break
        chat.sleep_until_woken()
    assert chat.conversation.open is None
    left = {(w.flow, w.priority) for w in chat.conversation.waiting}
    calm = {priority for _, priority in left} <= {Priority.TEACHING}  # keeps quiet in an emergency
    assert calm


@RANDOM
@given(walks, starts, st.booleans())
def test_a_safety_question_never_ends_in_silence(walk, start, coach):
    """When one closes by itself, the nurse is told in the same step."""
    chat = fresh(start, coach)
    for step in walk:
        before = chat.conversation
        take(chat, step)
        question = before.open
        by_itself = step[0] in ("time", "woken")
        if question is None or not by_itself or question.priority is not Priority.SAFETY:
            continue
        closed = question.flow not in _alive(chat)
        if closed:
            assert chat.effects(Escalate), question


def _alive(chat: Chat) -> set[str]:
    conversation = chat.conversation
    questions = [*conversation.interrupted, *([conversation.open] if conversation.open else [])]
    return {question.flow for question in questions}


@RANDOM
@given(walks, starts, st.booleans())
def test_the_night_is_quiet_unless_the_patient_wrote_or_an_alarm_is_open(walk, start, coach):
    chat = fresh(start, coach)
    for step in walk:
        before = chat.conversation
        take(chat, step)
        if step[0] not in ("time", "woken") or not is_quiet(chat.now, NEW_YORK, chat.context.rules):
            continue
        for say in chat.effects(Say):
            exempt = {"alarm_symptom", "alarm_emergency", "alarm_self_harm", "call_check"}
            assert say.flow in exempt | {"system"}, (say, before.open)


@RANDOM
@given(walks, starts, st.booleans())
def test_a_number_that_is_not_offered_never_records_anything(walk, start, coach):
    chat = fresh(start, coach)
    for step in walk:
        take(chat, step)
        question = chat.conversation.open
        if question is None:
            continue
        state = chat.book.flows[question.flow].states[question.state]
        if state.choices and "number" not in state.replies:
            probe = replace(chat)
            probe.hear("9", Act.CHOICE, choices=(9,))
            assert {record.value for record in probe.effects(Record)} <= {"unread"}


@RANDOM
@given(walks, starts)
def test_without_consent_the_coach_is_never_asked_in_the_patients_place(walk, start):
    chat = fresh(start, False)
    for step in walk:
        take(chat, step)
        if step[0] in ("time", "woken"):
            lines = [line for _, line in chat.said("coach")]
            assert not [line for line in lines if line.startswith("coach_ask")]
