"""What a nurse does with an escalation, from taking it to closing it."""

from dataclasses import replace
from datetime import datetime

from bot.core import escalation, taking_back
from bot.core.conversation import Conversation, Copy, Say, TimeUp
from bot.core.dialogue_draft import SYSTEM, is_alarm_flow
from bot.core.escalation import Case, Disposition
from bot.core.values import moment_words
from bot.core.wording import line_text
from bot.service import changes
from bot.service.cases import ALARM, save
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import audit, escalations

FOLLOW_UP = "call_check"  # "did you get through?", asked after an alarm
_LINES = {Disposition.CANCELLED: "cancelled_decision"}  # the others are named as they are


def acknowledge(desk: Desk, case: Case, note: str = "") -> None:
    """A named nurse takes the case."""
    _store(desk, case, escalation.acknowledge(case, desk.staff, desk.now, note))


def reach(desk: Desk, case: Case, note: str = "") -> None:
    """A named nurse spoke with the patient."""
    _store(desk, case, escalation.reach(case, desk.staff, desk.now, note))


def decide(
    desk: Desk,
    case: Case,
    disposition: Disposition,
    note: str,
    words: str | None = None,
    recheck_at: datetime | None = None,
) -> None:
    """Write down the decision, do what follows from it, and tell the patient.

    1. The decision with its note; 2. postponed or cancelled also withdraws the countdown, so that
    nothing stale goes out; 3. the patient is told, in the nurse's `words` when given.
    """
    decided = escalation.decide(case, disposition, desk.staff, note, desk.now, recheck_at)
    _store(desk, case, decided)
    line = _LINES.get(disposition, str(disposition))
    if disposition in (Disposition.POSTPONED, Disposition.CANCELLED):
        _withdraw_countdown(desk, disposition, line if words is None else None)
        if words is None:
            return
        desk = replace(desk, chart=load_chart(desk.connection, desk.practice, desk.patient))
    elif case.topic != ALARM and disposition is Disposition.GOES_AHEAD and words is None:
        return  # a question about a step was settled: nobody thought that surgery would not be
    own = {"when": _when(desk, recheck_at)} if recheck_at else {}
    said = Say("patient", SYSTEM, line, own, text=words)
    take_turn(desk, TimeUp(), before=(said, _copy_of_decision(desk, line, own, words)))


def _withdraw_countdown(desk: Desk, disposition: Disposition, line: str | None) -> None:
    if disposition is Disposition.CANCELLED:
        changes.cancel_surgery(desk, told=line or "cancelled")
    else:
        changes.move_surgery(desk, changes.NewTimes(None), told=line)


def _when(desk: Desk, moment: datetime) -> str:
    zone = desk.chart.operation.surgery.zone
    return moment_words(moment, zone, desk.chart.conversation.language)


def _copy_of_decision(desk: Desk, line: str, own: dict[str, str], words: str | None) -> Copy:
    """What was decided is a health answer: only a coach who may see everything gets it."""
    language = desk.chart.conversation.language
    said = words or line_text(desk.practice.book, SYSTEM, line, language)
    return Copy("decided", {"what": said, **own}, health=True)


def close(desk: Desk, case: Case, note: str) -> None:
    """Close a decided case; the chat forgets that it was open."""
    closed = escalation.close(case, desk.staff, note, desk.now)
    _store(desk, case, closed)
    still_open = {
        reason
        for other in escalations.open_cases(desk.connection, desk.patient)
        for reason in other.reasons
    }
    chat: Conversation = desk.chart.conversation
    kept = replace(chat, escalated=frozenset(r for r in chat.escalated if r in still_open))
    if case.topic == ALARM:
        kept = _without_alarm(desk, kept)
    take_turn(desk, TimeUp(), conversation=kept)


def _without_alarm(desk: Desk, chat: Conversation) -> Conversation:
    """The alarm's own questions ask for what the nurse knows by now: they end with its case."""
    book = desk.practice.book

    def is_over(flow: str) -> bool:
        return flow == FOLLOW_UP or is_alarm_flow(book, flow)

    return replace(
        chat,
        open=None if chat.open and is_over(chat.open.flow) else chat.open,
        interrupted=tuple(q for q in chat.interrupted if not is_over(q.flow)),
        waiting=tuple(w for w in chat.waiting if w.prompt is not None or not is_over(w.flow)),
    )


def write_note(desk: Desk, case: Case, note: str) -> None:
    """Add a note to the case's log."""
    _store(desk, case, taking_back.noted(case, desk.staff, note, desk.now))


def undo(desk: Desk, case: Case) -> None:
    """Take back the last entry. A case that was closed is open again, and the chat knows it."""
    back = taking_back.undo(case, desk.staff, desk.now)
    if case.closed and escalations.open_case_of(desk.connection, case.patient, case.topic):
        raise escalation.NotAllowed(
            "The patient has reported something new since: that is an escalation of its own."
            " Follow the new one."
        )
    _store(desk, case, back)
    if case.closed:
        chat = desk.chart.conversation
        known = replace(chat, escalated=chat.escalated | frozenset(case.reasons))
        take_turn(desk, TimeUp(), conversation=known)


def settle_quietly(desk: Desk, topic: str, note: str) -> None:
    """Close a case of one topic whose cause has gone, such as a start time now entered."""
    case = escalations.open_case_of(desk.connection, desk.patient, topic)
    if case is None:
        return
    decided = escalation.decide(case, Disposition.GOES_AHEAD, desk.staff, note, desk.now)
    closed = escalation.close(decided, desk.staff, note, desk.now)
    save(desk, closed, len(case.entries))


def _store(desk: Desk, before: Case, after: Case) -> None:
    save(desk, after, len(before.entries))
    detail = {"escalation": after.id, "step": str(after.entries[-1].step)}
    audit.note(desk.connection, desk.staff, "escalation", desk.patient, desk.now, detail)
