"""Asking a shared phone whom its text is about; an alarm is told to the nurse first, for each."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta

from bot.core.conversation import Escalate
from bot.core.dialogue_alarms import Alarm
from bot.core.dialogue_draft import SYSTEM, Draft, severity
from bot.core.first_words import first_words
from bot.core.record import Message
from bot.core.sharing import Decision
from bot.core.wording import filled, line_text, say_text
from bot.service.addressing import with_head
from bot.service.cases import raise_cases
from bot.service.chart import context, values
from bot.service.listeners import Listener
from bot.store import outbox

KEY = "whose."  # begins the key of every message that asks it
_STALE_AFTER = timedelta(hours=24)  # as every answer (our choice)


def warn(found: Sequence[Listener], decision: Decision, names: Sequence[str]) -> list[int]:
    """Open an escalation for each patient who may be meant; return the cases."""
    cases = []
    for each in _warned(found, decision):
        alarm = _alarm_of(each, found)
        because = (*each.reading.because, f"shared phone, not known whose: {', '.join(names)}")
        words = each.text
        raised = [Escalate(reason, words, because) for reason in alarm.reasons]
        cases += [case.id for case in raise_cases(each.desk, raised)]
    return cases


def ask(
    found: Sequence[Listener],
    decision: Decision,
    names: Sequence[str],
    inbound: int,
    case: int | None,
) -> None:
    """Queue one message to the phone: what to do about an alarm, if it is one, and the question."""
    lead = next(_warned(found, decision), found[0])
    outbox.queue(
        lead.desk.connection,
        Message(
            key=f"{KEY}{inbound}",
            patient=lead.party.patient,
            to_role=lead.party.role,
            name=", ".join(names),
            channel=lead.party.channel,
            address=lead.party.address,
            text=_text(found, decision, names),
            choices=tuple(names),
            queued_at=lead.desk.now,
            escalation=case,
            not_after=lead.desk.now + _STALE_AFTER,
        ),
    )


def _text(found: Sequence[Listener], decision: Decision, names: Sequence[str]) -> str:
    """Each thing is said once, though in every language of the people behind the phone."""
    safety = [_safety(each, _alarm_of(each, found)) for each in _warned(found, decision)]
    texts = _once([*safety, *(_question(each, names) for each in found)])
    book, language = found[0].desk.practice.book, _language(found[0])
    return with_head(book, ", ".join(names), "\n\n".join(texts), language)


def _warned(found: Sequence[Listener], decision: Decision) -> Iterator[Listener]:
    return (each for each in found if each.party in decision.warned)


def _alarm_of(each: Listener, found: Sequence[Listener]) -> Alarm:
    """This person's alarm; else the gravest that the words are from anybody behind the phone."""
    if each.alarm is not None:
        return each.alarm
    book = each.desk.book
    alarms = [other.alarm for other in found if other.alarm is not None]
    return min(alarms, key=lambda alarm: severity(book, alarm.reasons[0]))


def _safety(each: Listener, alarm: Alarm) -> str:
    desk, language = each.desk, _language(each)
    known = context(desk.chart, desk.practice, desk.now)
    draft = Draft(desk.book, known, desk.now, desk.chart.conversation)
    told = values(desk.chart, language, desk.now)
    said = (replace(say, to="patient") for say in first_words(draft, alarm))
    return "\n\n".join(say_text(desk.book, say, told, language) for say in said)


def _question(each: Listener, names: Sequence[str]) -> str:
    book, language = each.desk.practice.book, _language(each)
    either = f" {line_text(book, SYSTEM, 'shared_or', language)} ".join(names)
    question = line_text(book, SYSTEM, "shared_ask", language)
    return filled(book, question, {"name": either}, language)


def _language(each: Listener) -> str:
    coach = next((c for c in each.desk.chart.coaches if c.id == each.party.coach), None)
    return coach.language if coach else each.desk.chart.conversation.language


def _once(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))
