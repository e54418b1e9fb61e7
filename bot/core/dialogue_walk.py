"""Walking a flow: begin it, say what it says, stop at a question or at its end."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from bot.core.changed import replace
from bot.core.conversation import Escalate, OpenQuestion, WaitingFlow
from bot.core.dialogue_draft import Draft, is_alarm_flow, items_of
from bot.core.flow import Flow, State
from bot.core.machine import ONWARD, machine_of, next_state, reply_trigger
from bot.core.protocol import Priority

RECENT = 4  # closed questions kept at hand
OUTCOME_COPIES = frozenset({"done", "all_clear", "not_through", "medicine_taken"})
CORRECTION_FOR = timedelta(hours=12)  # a closed answer may be corrected this long (our choice)


def begin(
    draft: Draft,
    name: str,
    *,
    priority: Priority | None = None,
    prompt: str | None = None,
    values: Mapping[str, str] | None = None,
    closes: datetime | None = None,
) -> None:
    """Open a flow and run it to its first question or its end."""
    flow = draft.book.flows[name]
    rank = priority or flow.priority
    if is_alarm_flow(draft.book, name):
        rank = Priority.SAFETY
    question = OpenQuestion(
        flow=name,
        revision=flow.revision,
        state=flow.start,
        asked_at=draft.now,
        priority=rank,
        prompt=prompt,
        values=dict(values or {}),
        closes=closes,
    )
    run(draft, question)


def run(draft: Draft, question: OpenQuestion, answered: OpenQuestion | None = None) -> None:
    """Enter the question's state and pass on until a state waits or the flow ends.

    `answered` is the question whose answer led here; it is closed when the flow ends.
    """
    flow = draft.book.flows[question.flow]
    machine = machine_of(draft.book, flow)
    for _ in range(len(flow.states) + 1):  # a ring of states that do not wait cannot hang a turn
        state = flow.states[question.state]
        _enter(draft, state, question)
        if state.asked is not None:
            _open(draft, question)
            return
        if state.end is not None:
            _end(draft, flow, state.end, question, answered)
            return
        onward = next_state(machine, state.id, ONWARD, draft.facts(question))
        if onward is None:
            break
        question = replace(question, state=onward)
    _end(draft, flow, "ended", question, answered)


def _enter(draft: Draft, state: State, question: OpenQuestion) -> None:
    if state.say is not None:
        put = draft.ask if state.asked is not None else draft.say
        put(question, state.say)
    draft.record(question, state.record)
    raise_reason(draft, question, state.escalate)
    for name, minutes in state.starts:
        if not _already_to_come(draft, question, name):
            _start_later(draft, question, name, minutes)


def _already_to_come(draft: Draft, question: OpenQuestion, name: str) -> bool:
    """A second alarm joins the first: its follow-up is asked once, at the earlier time."""
    conversation = draft.conversation
    to_come = [w.flow for w in conversation.waiting if w.prompt is None]
    to_come += [q.flow for q in conversation.interrupted]
    return is_alarm_flow(draft.book, question.flow) and name in to_come


def _start_later(draft: Draft, question: OpenQuestion, name: str, minutes: int) -> None:
    later = draft.now + timedelta(minutes=minutes)
    priority = draft.book.flows[name].priority if name in draft.book.flows else Priority.SAFETY
    enqueue(draft, WaitingFlow(name, later, priority, values=question.values))


def _open(draft: Draft, question: OpenQuestion) -> None:
    asked = replace(
        question, asked_at=draft.now, rung="patient", rung_at=draft.now, nudges=0, unread=0,
        ask_again_at=None, answered=None,
    )  # fmt: skip
    draft.change(open=asked)


def _end(
    draft: Draft, flow: Flow, outcome: str, question: OpenQuestion, answered: OpenQuestion | None
) -> None:
    if answered is not None:
        close(draft, answered)
        if flow.coach in ("outcome", "both"):
            draft.copy(_copies(flow, outcome), topic_values(flow, question), flow.health)


def _copies(flow: Flow, outcome: str) -> tuple[str, ...]:
    """The lines of a copy about this outcome, the flow's own first."""
    own = f"{flow.name}_{outcome}"
    return (own, outcome) if outcome in OUTCOME_COPIES else (own,)


def topic_values(flow: Flow, question: OpenQuestion) -> dict[str, str]:
    """What a copy for the coach can say; `flow` finds the topic in the coach's language."""
    return {**question.values, "topic": flow.title, "flow": flow.name}


def close(draft: Draft, question: OpenQuestion) -> None:
    """Close a question; it stays at hand for a correction or a late answer."""
    others = tuple(q for q in draft.conversation.recent if not _same(q, question))
    closed = replace(question, rung_at=draft.now)
    draft.change(open=None, recent=(*others, closed)[-RECENT:])


def _same(one: OpenQuestion, other: OpenQuestion) -> bool:
    return (one.flow, dict(one.values)) == (other.flow, dict(other.values))


def apply_reply(draft: Draft, question: OpenQuestion, key: str) -> None:
    """Do what the flow says about this reply; the machine gives the next state."""
    flow = draft.book.flows[question.flow]
    state = flow.states[question.state]
    reply = state.replies[key]
    target = next_state(
        machine_of(draft.book, flow), state.id, reply_trigger(key), draft.facts(question)
    )
    if reply.say is not None:
        draft.say(question, reply.say)
    draft.record(question, reply.record)
    for fact, value in reply.learn:
        draft.learn(fact, value)
    raise_reason(draft, question, reply.escalate)
    _tell_case(draft, question, tuple(fact for fact, _ in reply.learn) or (state.id,))
    answered = replace(question, answered=key)
    if reply.wait_minutes or target is None or reply.go is None:
        _keep(draft, answered, reply.wait_minutes)
    else:
        run(draft, replace(question, state=target), answered)


def _keep(draft: Draft, question: OpenQuestion, wait_minutes: int) -> None:
    """The same question stays open: it is asked again after the wait, or its ladder restarts."""
    again = draft.now + timedelta(minutes=wait_minutes) if wait_minutes else None
    kept = replace(
        question, rung="patient", rung_at=draft.now, ask_again_at=again, unread=0, answered=None
    )
    draft.change(open=kept)


def raise_reason(draft: Draft, question: OpenQuestion, reason: str | None) -> None:
    """Escalate what the flow names; if the reason has a flow of its own, that one opens next."""
    if reason is None:
        return
    draft.escalate(reason, shown(question))
    why = draft.book.reasons.get(reason)
    if why is not None and why.flow not in (None, question.flow):
        draft.raised.append(reason)


def shown(question: OpenQuestion) -> dict[str, str]:
    """The question's values that mean something to the nurse."""
    return {name: value for name, value in question.values.items() if name != "reason"}


def _tell_case(draft: Draft, question: OpenQuestion, names: tuple[str, ...]) -> None:
    """Answers given in an alarm's own flow go to the nurse's case as they come."""
    reason = question.values.get("reason")
    if reason is not None and is_alarm_flow(draft.book, question.flow):
        answers = dict.fromkeys(names, draft.words)
        draft.effects.append(Escalate(reason, draft.words, draft.because, answers))


def enqueue(draft: Draft, flow: WaitingFlow) -> None:
    """Let a flow wait its turn; the same flow with the same values waits once, the newer."""
    rest = tuple(
        w
        for w in draft.conversation.waiting
        if (w.flow, dict(w.values)) != (flow.flow, dict(flow.values))
    )
    draft.change(waiting=(*rest, flow))


def interrupt(draft: Draft, back_after: timedelta = timedelta(0)) -> None:
    """Put the open question aside; it comes back when what interrupted it is done."""
    question = draft.conversation.open
    if question is None:
        return
    aside = replace(question, rung_at=draft.now + back_after, unread=0)
    draft.change(open=None, interrupted=(*draft.conversation.interrupted, aside))


def leave_unanswered(
    draft: Draft, question: OpenQuestion, value: str, *, tell: bool = True
) -> None:
    """Close the books on a question nobody answered: record it, and tell the nurse if it matters.

    Safety questions always reach the nurse; others only with a reason in their silence rule.
    """
    flow = draft.book.flows[question.flow]
    for item in items_of(flow, question.values):
        if item not in draft.context.done:
            draft.record(question, ((item, value),))
    reason = silence_reason(flow, question)
    if tell and reason is not None:
        draft.escalate(reason, {"question": flow.title, **shown(question)})


def silence_reason(flow: Flow, question: OpenQuestion) -> str | None:
    """The reason under which an unanswered question is shown to the nurse, if it is."""
    state = flow.states.get(question.state)
    states = [state] if state and state.asked else list(flow.states.values())
    reasons = [s.silence.escalate for s in states if s.silence and s.silence.escalate]
    default = "silent" if question.priority is Priority.SAFETY else None
    return reasons[0] if reasons else default
