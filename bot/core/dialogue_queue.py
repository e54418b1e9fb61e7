"""Whose turn it is: waiting flows, interrupted questions, planned prompts, and the next timer."""

from datetime import datetime, timedelta

from bot.core.changed import replace
from bot.core.conversation import Conversation, OpenQuestion, PromptDue, WaitingFlow
from bot.core.countdown import local_date
from bot.core.dialogue_draft import (
    ASKING_ORDER,
    Draft,
    asks,
    emergency_open,
    items_of,
)
from bot.core.dialogue_silence import ask_again, may_speak, next_rung, speaking_time
from bot.core.dialogue_walk import begin, enqueue, interrupt, leave_unanswered, topic_values
from bot.core.flow import FlowBook
from bot.core.protocol import Priority

TURNS = 30  # flows that may open one after the other in one step; only statements pass at once


def prompt_due(draft: Draft, event: PromptDue) -> None:
    """Open the prompt's flows: statements at once, questions in turn; nothing stale or done."""
    if draft.conversation.stopped or draft.conversation.paused or event.closes < draft.now:
        return
    parts = [part for part in event.parts if part[0] in draft.book.flows]
    arrived = [_waiting(draft, event, name, dict(values)) for name, values in parts]
    wanted = [new for new in arrived if not _already_done(draft, new)]
    for new in wanted:
        _replace_older(draft, new)
    hushed = emergency_open(draft.book, draft.conversation)
    for new in sorted(wanted, key=lambda w: asks(draft.book.flows[w.flow])):
        if asks(draft.book.flows[new.flow]) or (hushed and new.priority is Priority.TEACHING):
            enqueue(draft, new)
        else:
            _open_waiting(draft, new)


def _waiting(draft: Draft, event: PromptDue, name: str, values: dict[str, str]) -> WaitingFlow:
    return WaitingFlow(name, draft.now, event.priority, event.closes, event.prompt, values)


def _already_done(draft: Draft, new: WaitingFlow) -> bool:
    """A safety question is asked whatever is on record; others not once their items are done."""
    items = items_of(draft.book.flows[new.flow], new.values)
    if new.priority is Priority.SAFETY or not items:
        return False
    return all(item in draft.context.done for item in items)


def _replace_older(draft: Draft, new: WaitingFlow) -> None:
    """Yesterday's copy of this prompt is closed as unanswered instead of stacking up."""
    conversation = draft.conversation
    questions = [*conversation.interrupted, *([conversation.open] if conversation.open else [])]
    older = [q for q in questions if _supersedes(draft, new, q)]
    for question in older:
        leave_unanswered(draft, question, "not_answered")
    if conversation.open in older:
        draft.change(open=None)
    draft.change(interrupted=tuple(q for q in conversation.interrupted if q not in older))
    stale = [w for w in conversation.waiting if w.flow == new.flow and w.prompt != new.prompt]
    stale = [w for w in stale if w.prompt and (_earlier_day(draft, w.not_before))]
    draft.change(waiting=tuple(w for w in draft.conversation.waiting if w not in stale))
    for flow in stale:
        leave_unanswered(draft, _as_question(draft.book, flow), "not_asked")


def _supersedes(draft: Draft, new: WaitingFlow, old: OpenQuestion) -> bool:
    if old.flow != new.flow:
        return False
    return dict(old.values) == dict(new.values) or _earlier_day(draft, old.asked_at)


def _earlier_day(draft: Draft, moment: datetime) -> bool:
    zone = draft.context.zone
    return local_date(moment, zone) < local_date(draft.now, zone)


def _as_question(book: FlowBook, flow: WaitingFlow) -> OpenQuestion:
    found = book.flows[flow.flow]
    return OpenQuestion(
        flow=flow.flow,
        revision=found.revision,
        state=found.start,
        asked_at=flow.not_before,
        priority=flow.priority,
        prompt=flow.prompt,
        values=flow.values,
        closes=flow.closes,
    )


def settle(draft: Draft) -> None:
    """Drop what is stale, then open whatever is first in line, until a question is open."""
    if draft.conversation.stopped:
        draft.change(open=None, interrupted=(), waiting=())
        return
    if draft.conversation.paused or _is_idle(draft.conversation):
        return
    _drop_unknown(draft)
    _drop_stale(draft)
    for _ in range(TURNS):
        first = _first_in_line(draft)
        if first is None:
            return
        if isinstance(first, WaitingFlow):
            interrupt(draft)
            _open_waiting(draft, first)
        else:
            _resume(draft, first)


def _is_idle(conversation: Conversation) -> bool:
    return not (conversation.open or conversation.interrupted or conversation.waiting)


def _drop_unknown(draft: Draft) -> None:
    """A question whose flow or state the content no longer has cannot be asked: tell the nurse."""
    conversation, flows = draft.conversation, draft.book.flows
    gone = [w.flow for w in conversation.waiting if w.flow not in flows]
    asked = [*conversation.interrupted, *([conversation.open] if conversation.open else [])]
    lost = [q for q in asked if q.flow not in flows or q.state not in flows[q.flow].states]
    if not (gone or lost):
        return
    for name in [*gone, *(q.flow for q in lost)]:
        draft.escalate("unread", {"question": name})
    draft.change(
        waiting=tuple(w for w in conversation.waiting if w.flow in flows),
        interrupted=tuple(q for q in conversation.interrupted if q not in lost),
        open=None if conversation.open in lost else conversation.open,
    )


def _drop_stale(draft: Draft) -> None:
    conversation, now = draft.conversation, draft.now
    old_flows = [w for w in conversation.waiting if w.closes is not None and w.closes < now]
    old_asked = [q for q in conversation.interrupted if q.closes is not None and q.closes < now]
    if not (old_flows or old_asked):
        return
    draft.change(
        waiting=tuple(w for w in conversation.waiting if w not in old_flows),
        interrupted=tuple(q for q in conversation.interrupted if q not in old_asked),
    )
    for flow in old_flows:
        leave_unanswered(draft, _as_question(draft.book, flow), "not_asked")
    for question in old_asked:
        leave_unanswered(draft, question, "not_answered")


def _first_in_line(draft: Draft) -> WaitingFlow | OpenQuestion | None:
    """The best of what is ready: by priority, then what was interrupted, then what is due first.

    While a question is open only something of a higher priority takes its place.
    """
    conversation = draft.conversation
    ready: list[tuple[tuple[int, int, datetime], WaitingFlow | OpenQuestion]] = []
    for question in conversation.interrupted:
        if (question.rung_at or draft.now) <= draft.now and may_speak(draft, question):
            ready.append(((_rank(question.priority), 0, question.asked_at), question))
    for flow in conversation.waiting:
        if _ready(draft, flow):
            ready.append(((_rank(flow.priority), 1, flow.not_before), flow))
    ready = [entry for entry in ready if _may_open(draft, entry[1])]
    return min(ready, key=lambda entry: entry[0])[1] if ready else None


def _rank(priority: Priority) -> int:
    return ASKING_ORDER.index(priority)


def _ready(draft: Draft, flow: WaitingFlow) -> bool:
    if flow.not_before > draft.now:
        return False
    just_due = flow.not_before == draft.now and flow.prompt is not None  # the planner chose it
    return just_due or may_speak(draft, _as_question(draft.book, flow))


def _may_open(draft: Draft, entry: WaitingFlow | OpenQuestion) -> bool:
    """Teaching keeps quiet in an open emergency; an open question yields to what is graver."""
    if entry.priority is Priority.TEACHING and emergency_open(draft.book, draft.conversation):
        return False
    opened = draft.conversation.open
    return opened is None or (
        isinstance(entry, WaitingFlow) and _rank(entry.priority) < _rank(opened.priority)
    )


def _open_waiting(draft: Draft, flow: WaitingFlow) -> None:
    draft.change(waiting=tuple(w for w in draft.conversation.waiting if w is not flow))
    found = draft.book.flows[flow.flow]
    if flow.prompt is not None and found.coach in ("reminder", "both"):
        values = topic_values(found, _as_question(draft.book, flow))
        draft.copy((f"{flow.flow}_reminder", "reminder"), values, False)
    begin(
        draft,
        flow.flow,
        priority=flow.priority,
        prompt=flow.prompt,
        values=flow.values,
        closes=flow.closes,
    )


def _resume(draft: Draft, question: OpenQuestion) -> None:
    rest = tuple(q for q in draft.conversation.interrupted if q is not question)
    draft.change(interrupted=rest)
    draft.say_system("interrupted_back", to=draft.conversation.who)
    ask_again(draft, replace(question, nudges=0))


def wake_at(draft: Draft) -> datetime | None:
    """When TimeUp must next be given: the next rung, the next flow in line, the next one stale."""
    conversation = draft.conversation
    if conversation.stopped or conversation.paused or _is_idle(conversation):
        return None
    moments = [_turn_of(draft, w) for w in conversation.waiting]
    moments += [w.closes for w in conversation.waiting if w.closes]
    moments += [q.closes for q in conversation.interrupted if q.closes]
    if conversation.open is not None:
        moments.append(next_rung(draft.book, conversation.open, draft.context, draft.now).at)
    else:
        moments += [_back_at(draft, q) for q in conversation.interrupted]
    tick = timedelta(seconds=1)
    later = [max(moment, draft.now + tick) for moment in moments if moment is not None]
    return min(later, default=None)


def _turn_of(draft: Draft, flow: WaitingFlow) -> datetime | None:
    """When a waiting flow may open; None while something else has to end first."""
    if not _may_open(draft, flow):
        return None
    return speaking_time(
        draft.book, _as_question(draft.book, flow), max(flow.not_before, draft.now), draft.context
    )


def _back_at(draft: Draft, question: OpenQuestion) -> datetime | None:
    if not _may_open(draft, question):
        return None
    back = max(question.rung_at or draft.now, draft.now)
    return speaking_time(draft.book, question, back, draft.context)
