"""One step of a conversation: what an event does to it, and what must be sent, kept and told.

`step` is pure: the same arguments give the same Turn. The shell stores the new conversation and
every effect in one transaction. Say effects to the same person are one message, in their order.
"""

from datetime import datetime

from bot.core.conversation import (
    Context,
    Conversation,
    Event,
    Heard,
    OpenQuestion,
    PromptDue,
    Turn,
)
from bot.core.dialogue_alarms import find_alarm
from bot.core.dialogue_draft import Draft, is_alarm_flow
from bot.core.dialogue_heard import hear, open_raised
from bot.core.dialogue_queue import prompt_due, settle, wake_at
from bot.core.dialogue_replies import expected_key
from bot.core.dialogue_silence import climb
from bot.core.flow import FlowBook
from bot.reading.reading import Act, Reading

COACH = "coach"


def step(
    book: FlowBook, conversation: Conversation, event: Event, context: Context, now: datetime
) -> Turn:
    """Decide one move. `now` is an aware instant; `Turn.wake_at` says when to give TimeUp next."""
    patient = Draft(book, context, now, conversation)
    coach = Draft(book, context, now, _coach_thread(conversation))
    _keep_in_step(patient, coach)
    match event:
        case Heard():
            _hear(patient, coach, event)
        case PromptDue():
            prompt_due(coach if event.to == COACH else patient, event)
        case _:
            for draft in (patient, coach):
                _time_up(draft)
    _keep_in_step(patient, coach)
    for draft in (patient, coach):
        open_raised(draft)
        settle(draft)
    return _turn(patient, coach)


def _coach_thread(conversation: Conversation) -> Conversation:
    fresh = Conversation(language=conversation.language, who=COACH)
    return conversation.coach or fresh


def _keep_in_step(patient: Draft, coach: Draft) -> None:
    """What the patient ended or staff paused is ended or paused for the coach's questions too."""
    coach.change(paused=patient.conversation.paused)
    if patient.conversation.stopped:
        coach.change(open=None, interrupted=(), waiting=())


def _time_up(draft: Draft) -> None:
    if not (draft.conversation.stopped or draft.conversation.paused):
        settle(draft)
        climb(draft)


def _turn(patient: Draft, coach: Draft) -> Turn:
    thread = coach.conversation
    used = patient.conversation.coach is not None or bool(coach.effects)
    wakes = [moment for moment in (wake_at(patient), wake_at(coach)) if moment is not None]
    patient.change(escalated=patient.conversation.escalated | thread.escalated)
    coach.change(escalated=frozenset())  # the case is the patient's
    kept = coach.conversation if used or thread.open or thread.waiting else None
    patient.change(coach=kept)
    effects = (*patient.effects, *coach.effects)
    return Turn(patient.conversation, effects, min(wakes, default=None))


def _hear(patient: Draft, coach: Draft, event: Heard) -> None:
    draft = patient
    if event.by == COACH and not _is_for_patient(patient, coach, event):
        draft = coach
    draft.words, draft.by = event.text, event.by
    draft.because, draft.heard = event.reading.because, True
    hear(draft, event)


def _is_for_patient(patient: Draft, coach: Draft, event: Heard) -> bool:
    """Decide whether a coach's message is about the patient: an alarm, or the patient's question.

    The coach's own question goes first, unless the coach was asked on the patient's behalf later.
    """
    reading = event.reading
    age = patient.facts().get("age")
    if find_alarm(patient.book, reading, patient.context.rules, age) is not None:
        return True
    if patient.conversation.stopped or _about_themselves(reading):
        return False
    asked, own = patient.conversation.open, coach.conversation.open
    if asked is None:
        return False
    if own is not None and not (asked.rung == COACH and _since(asked) > own.asked_at):
        return False
    alarm_open = is_alarm_flow(patient.book, asked.flow)
    return asked.rung == COACH or alarm_open or _fits(patient, asked, event)


def _about_themselves(reading: Reading) -> bool:
    acts = (Act.OPT_OUT, Act.OPT_IN, Act.HELP, Act.WRONG_NUMBER, Act.QUESTION)
    return any(reading.says(act) for act in acts)


def _since(question: OpenQuestion) -> datetime:
    return question.rung_at or question.asked_at


def _fits(patient: Draft, asked: OpenQuestion, event: Heard) -> bool:
    state = patient.state_of(asked)
    return expected_key(patient.flow_of(asked), state, event.reading, event.text) is not None
