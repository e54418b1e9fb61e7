"""One turn of one patient's chat: step, store the state and every effect, queue the messages."""

from collections.abc import Iterable
from datetime import datetime

from bot.core.changed import replace
from bot.core.conversation import (
    Conversation,
    Copy,
    Effect,
    Event,
    Heard,
    Record,
    Say,
    Turn,
)
from bot.core.conversation_json import conversation_to_json
from bot.core.dialogue import step
from bot.core.dialogue_wishes import wish_of
from bot.core.versions import as_begun
from bot.service import mail, planning
from bot.service.chart import context, load_chart
from bot.service.desk import Desk
from bot.service.effects import apply_effects
from bot.store import conversations, plans

_HARMLESS = (Say, Copy, Record)  # effects that open, close or add no address
COMING = 12  # planned prompts looked at; statements without a topic are passed over


def take_turn(
    desk: Desk,
    event: Event,
    *,
    before: Iterable[Effect] = (),
    conversation: Conversation | None = None,
    plan_anew: bool = False,
) -> Turn:
    """Let one event move the chat, inside the transaction on the desk.

    1. Step (pure); 2. apply the effects as rows, those of `before` first; 3. plan anew when what
    the planner looks at has changed; 4. store the conversation, refusing a second writer; 5. queue
    one message for each recipient. `conversation` replaces the stored one when staff changed it.
    """
    chart = desk.chart
    version = chart.conversation.version
    start = conversation or chart.conversation
    desk = _as_begun(desk, start)
    practice = desk.practice
    known = context(chart, practice, desk.now)
    if isinstance(event, Heard) and wish_of(practice.book, event.text) == "next":
        known = replace(known, coming=_coming(desk))
    turn = step(practice.book, start, event, known, desk.now)
    if isinstance(event, Heard) and desk.heard is not event:
        desk = replace(desk, heard=event)
    effects = (*before, *turn.effects)
    desk = _reached(desk, effects)
    outcome = apply_effects(desk, effects)
    after = desk
    if plan_anew or outcome.plan_anew:
        after = replace(desk, chart=load_chart(desk.connection, practice, desk.patient))
        if plan_anew or outcome.stopped or planning.may_differ(desk, after):
            apply_effects(after, planning.plan(after).escalations)
    _save(desk, turn, version)
    spoken = replace(after, chart=replace(after.chart, conversation=turn.conversation))
    mail.post(spoken, effects, version, outcome.case)
    return turn


def _reached(desk: Desk, effects: Iterable[Effect]) -> Desk:
    """What was read of the patient's address counts only where the turn cannot change it."""
    if desk.reach is None or all(isinstance(effect, _HARMLESS) for effect in effects):
        return desk
    return replace(desk, reach=None)


def _save(desk: Desk, turn: Turn, version: int) -> None:
    chat = (desk.patient, conversation_to_json(turn.conversation), version, turn.wake_at)
    if desk.later is not None:
        desk.later.chats.append(chat)
    else:
        conversations.save_conversation(desk.connection, *chat)


def _coming(desk: Desk) -> tuple[tuple[str, datetime], ...]:
    """The flows that are planned next for the patient, those of an item already done left out."""
    parts = plans.coming_parts(desk.connection, desk.chart.operation, COMING)
    return tuple((part.flow, due) for part, due in parts if part.item not in desk.chart.done)


def _as_begun(desk: Desk, start: Conversation) -> Desk:
    """For the whole turn, also for its last words, what is under way keeps its own version."""
    book = as_begun(desk.practice.book, start)
    if book is desk.practice.book:
        return desk
    return replace(desk, practice=replace(desk.practice, book=book))
