"""Silence: when a question is nudged, when the coach is asked, when the nurse sees it."""

from datetime import datetime, timedelta

from bot.core.changed import replace
from bot.core.conversation import Context, OpenQuestion, Say
from bot.core.dialogue_draft import Draft, is_alarm_flow
from bot.core.dialogue_walk import close, leave_unanswered, topic_values
from bot.core.flow import Flow, FlowBook, Silence
from bot.core.protocol import Priority
from bot.core.quiet import is_quiet, next_waking
from bot.core.value import value

UNSET = Silence(nudge_after=24 * 60, nudges=0)  # a question without a ladder ends after a day
SHORTEST = 10  # minutes; tightening never goes below this, or below the ladder's own figure
AGAIN, NUDGE, COACH, NURSE = "again", "nudge", "coach", "nurse"


@value
class Rung:
    """The next thing that happens to an unanswered question, and when."""

    what: str
    at: datetime


def tightened(minutes: int, days_left: int | None) -> int:
    """Shorten a waiting time as surgery nears: three quarters from day -3, half from day -1.

    The figures are this project's choice; no published source sets them.
    """
    if days_left is None or days_left > 3:
        return minutes
    share = 0.5 if days_left <= 1 else 0.75
    return max(min(minutes, SHORTEST), round(minutes * share))


def next_rung(book: FlowBook, question: OpenQuestion, context: Context, now: datetime) -> Rung:
    """Decide what comes next for an open question if nobody writes.

    A rung whose time went by, as in an outage that ends at night, waits for the morning too.
    """
    rung = _ladder(book, question, context)
    if rung.what != NURSE:
        rung = Rung(rung.what, speaking_time(book, question, max(rung.at, now), context))
    if question.closes is not None and rung.at > question.closes:
        return Rung(NURSE, question.closes)
    return rung


def _ladder(book: FlowBook, question: OpenQuestion, context: Context) -> Rung:
    if question.ask_again_at is not None:
        return Rung(AGAIN, question.ask_again_at)
    silence = _silence(book.flows.get(question.flow), question)
    if question.rung == "coach":
        return _rung(NURSE, silence.nurse_after or silence.coach_after, silence, question, context)
    if question.nudges < silence.nudges:
        return _rung(NUDGE, silence.nudge_after, silence, question, context)
    if silence.coach_after is not None and context.may_ask_coach:
        return _rung(COACH, silence.coach_after, silence, question, context)
    after = silence.nurse_after or silence.coach_after
    return _rung(NURSE, after, silence, question, context)


def _rung(
    what: str, after: int | None, silence: Silence, question: OpenQuestion, context: Context
) -> Rung:
    minutes = tightened(after or silence.nudge_after, context.days_left)
    return Rung(what, (question.rung_at or question.asked_at) + timedelta(minutes=minutes))


def _silence(flow: Flow | None, question: OpenQuestion) -> Silence:
    state = flow.states.get(question.state) if flow else None
    return (state.silence if state else None) or UNSET


def speaking_time(
    book: FlowBook, question: OpenQuestion, at: datetime, context: Context
) -> datetime:
    """The first moment from `at` on at which we may speak about this question.

    An alarm that the patient began is a conversation, not a prompt: it goes on at night. So does
    a time-critical question, for a patient who agreed to that. All else waits for the morning.
    """
    began_it = question.prompt is None and question.priority is Priority.SAFETY
    agreed = question.priority is Priority.TIME_CRITICAL and context.dawn_agreed
    if began_it or agreed or is_alarm_flow(book, question.flow):
        return at
    return next_waking(at, context.zone, context.rules)


def may_speak(draft: Draft, question: OpenQuestion) -> bool:
    """True when the question may be put now: by day, in answer to a message, or if exempt."""
    if draft.heard or not is_quiet(draft.now, draft.context.zone, draft.context.rules):
        return True
    return speaking_time(draft.book, question, draft.now, draft.context) <= draft.now


def climb(draft: Draft) -> None:
    """Take the open question up one rung of its ladder, if that rung's time has come.

    One rung per step: after a long outage the patient is nudged before anyone else is told.
    """
    question = draft.conversation.open
    if question is None:
        return
    rung = next_rung(draft.book, question, draft.context, draft.now)
    if rung.at > draft.now:
        return
    steps = {AGAIN: ask_again, NUDGE: _nudge, COACH: _ask_coach, NURSE: _tell_nurse}
    steps[rung.what](draft, question)


def ask_again(draft: Draft, question: OpenQuestion) -> None:
    """Put the same question again, as it was first put, and start its ladder anew."""
    state = draft.state_of(question)
    if state.say is not None:
        draft.ask(question, state.say)
    asked = replace(
        question, asked_at=draft.now, rung="patient", rung_at=draft.now, ask_again_at=None
    )
    draft.change(open=asked)


def line_for(flow: Flow, stem: str, state: str) -> str | None:
    """The wording key for this state: `nudge_ask` before `nudge`; None when there is neither."""
    return next((k for k in (f"{stem}_{state}", stem) if k in flow.wording), None)


def _nudge(draft: Draft, question: OpenQuestion) -> None:
    state = draft.state_of(question)
    line = line_for(draft.flow_of(question), "nudge", state.id) or state.say
    if line is not None:
        draft.ask(question, line)
    draft.change(open=replace(question, nudges=question.nudges + 1, rung_at=draft.now))


def _ask_coach(draft: Draft, question: OpenQuestion) -> None:
    flow, state = draft.flow_of(question), draft.state_of(question)
    line = line_for(flow, "coach_ask", state.id)
    if line is not None:
        say = Say("coach", flow.name, line, question.values, state.choices, flow.health)
        draft.effects.append(replace(say, prompt=question.prompt))
    draft.change(open=replace(question, rung="coach", rung_at=draft.now))


def _tell_nurse(draft: Draft, question: OpenQuestion) -> None:
    flow = draft.book.flows[question.flow]
    leave_unanswered(draft, question, "not_answered")
    if question.priority is not Priority.TEACHING:
        draft.copy(("silent",), topic_values(flow, question), flow.health, "silent")
    close(draft, replace(question, answered=None))
