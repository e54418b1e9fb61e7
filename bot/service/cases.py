"""Opens escalations, lets further alarms join, and tells the next person on the on-call list."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from bot.core import escalation, on_call
from bot.core.conversation import Escalate
from bot.core.escalation import Case, Step
from bot.core.record import Message, OnCall
from bot.core.sbar import Background, summary
from bot.service.chart import Chart
from bot.service.desk import Desk
from bot.service.practice import PAGE, Practice
from bot.store import escalations, outbox, patients, surgeries

ALARM = "alarm"
# Reasons without an alarm flow of their own that belong to the alarm they follow from.
_FOLLOWS_ALARM = frozenset({"call_not_through", "emergency_not_called"})
_RETURNS = frozenset({"call_not_through", "silent"})


@dataclass(frozen=True, slots=True)
class Touched:
    """A case that one turn opened or added to; `stored` entries are in the database already."""

    case: Case
    stored: int
    news: bool


def raise_case(desk: Desk, effect: Escalate) -> Case:
    """Open a case, or let this join the open one; tell a person when there is something new."""
    return raise_cases(desk, [effect])[0]


def raise_cases(desk: Desk, effects: Sequence[Escalate]) -> list[Case]:
    """Take in all that one turn raises; each case touched is told of once, with all that is new."""
    touched: dict[str, Touched] = {}
    for effect in effects:
        topic = _topic(desk, effect.reason)
        touched[topic] = _take_in(desk, touched.get(topic), topic, effect)
    return [_store(desk, each) for each in touched.values()]


def _take_in(desk: Desk, touched: Touched | None, topic: str, effect: Escalate) -> Touched:
    found = touched.case if touched else None
    if found is None:
        found = escalations.open_case_of(desk.connection, desk.patient, topic)
    if found is None:
        severity = _severity(desk.practice, effect.reason)
        case = escalation.open_case(
            desk.patient, topic, effect.reason, severity, effect.words, desk.now, _detail(effect)
        )
        return Touched(case, 0, news=True)
    before = touched.stored if touched else len(found.entries)
    joined = _joined(desk, found, effect)
    news = joined.entries[-1].step in (Step.WORSE, Step.RETURNED)
    return Touched(joined, before, news=news or (touched is not None and touched.news))


def _detail(effect: Escalate) -> dict[str, str]:
    because = {"because": "; ".join(effect.because)} if effect.because else {}
    return {**effect.answers, **because}


def _store(desk: Desk, touched: Touched) -> Case:
    case = touched.case
    if touched.stored == 0:
        case = escalations.add_case(desk.connection, case, None)
    if touched.news:
        return notify(desk, case, touched.stored or len(case.entries))
    save(desk, case, touched.stored or len(case.entries))
    return case


def _topic(desk: Desk, reason: str) -> str:
    """Alarms share one case; every other reason has its own."""
    found = desk.practice.book.reasons.get(reason)
    if found is None or found.flow is not None or found.severity == "emergency":
        return ALARM
    open_alarm = escalations.open_case_of(desk.connection, desk.patient, ALARM)
    if open_alarm is not None and reason in _FOLLOWS_ALARM | _RETURNS:
        return ALARM
    return reason


def _severity(practice: Practice, reason: str) -> str:
    found = practice.book.reasons.get(reason)
    return found.severity if found else "urgent"  # doubt never hides an alarm


def _joined(desk: Desk, case: Case, effect: Escalate) -> Case:
    """Choose how it joins: the alarm comes back, an answer to it, or worse or the same.

    Further reasons in the very message that opened the case belong to its opening.
    """
    if case.topic == ALARM and effect.reason in _RETURNS:
        return escalation.returned(case, effect.words, desk.now, _silence(effect))
    told = {name: value for name, value in effect.answers.items() if name != "asked"}
    if effect.reason in case.reasons and told:
        return escalation.answered(case, told, desk.now)
    severity = _severity(desk.practice, effect.reason)
    return escalation.join(case, effect.reason, severity, effect.words, desk.now, _detail(effect))


def _silence(effect: Escalate) -> str:
    """What is known instead when the patient wrote nothing."""
    if effect.words:
        return ""
    return f"no answer to: {effect.answers.get('question', 'the last question')}"


def notify(desk: Desk, case: Case, entries_before: int, *, onward: bool = False) -> Case:
    """Tell a person: whoever has the case, or (`onward`) the next on the on-call list; store it.

    On the nurse's own list the notice is delivered by being there. By any other channel the entry
    is written when the channel has accepted the message.
    """
    contacts = on_call_list(desk.connection, desk.practice, desk.chart)
    contact = _whom(case, contacts, onward=onward)
    notice = _notice(desk, case, contact)
    outbox.queue(desk.connection, notice)
    if contact.channel == PAGE:
        case = escalation.notified(case, contact.name, desk.now)
    save(desk, case, entries_before, tried_now=True)
    return case


def on_call_list(connection: Connection, practice: Practice, chart: Chart) -> tuple[OnCall, ...]:
    """The surgeon's own on-call list, or the hospital's."""
    return surgeries.on_call(connection, chart.operation.surgeon) or practice.on_call


def _whom(case: Case, contacts: Sequence[OnCall], *, onward: bool) -> OnCall:
    names = [contact.name for contact in contacts]
    name = on_call.next_contact(case, names) if onward else on_call.present_contact(case, names)
    return contacts[names.index(name)]


def _notice(desk: Desk, case: Case, contact: OnCall) -> Message:
    on_page = contact.channel == PAGE
    return Message(
        key=f"case.{case.id}.{len(case.entries)}.{contact.name}.{desk.now:%Y%m%dT%H%M%S}",
        patient=desk.patient,
        to_role="nurse",
        name=contact.name,
        channel=contact.channel,
        address=contact.address,
        text=sbar(desk, case) if on_page else _short(desk, case),
        choices=(),
        queued_at=desk.now,
        escalation=case.id,
        state="sent" if on_page else "queued",
    )


def _short(desk: Desk, case: Case) -> str:
    """What may travel over a phone network: no name, no symptom."""
    reference = desk.chart.patient.reference
    return f"[{case.severity.upper()}] Escalation {case.id}, patient {reference}: open your list."


def sbar(desk: Desk, case: Case) -> str:
    """The nurse's summary of the case as it stands."""
    return summary(case, background(desk), due(desk, case), desk.now)


def background(desk: Desk) -> Background:
    """What the record knows that a nurse wants beside the alarm."""
    chart = desk.chart
    party = patients.address_of(desk.connection, desk.patient)
    holds = tuple(f"{h.medicine}, last dose {h.last_dose_on:%d %b}" for h in chart.holds)
    reasons = desk.practice.book.reasons
    return Background(
        patient=chart.patient.name,
        phone=party.address if party else "no address on file",
        surgeon=chart.operation.surgeon,
        surgery=chart.operation.surgery,
        holds=holds,
        done=tuple(sorted(name for name in chart.done if name.startswith("wash_"))),
        coach=", ".join(coach.name for coach in chart.active_coaches),
        titles=tuple((name, reason.title) for name, reason in reasons.items()),
    )


def due(desk: Desk, case: Case) -> datetime | None:
    """By when a person must act on the case."""
    rules, zone = desk.chart.rules, desk.chart.operation.surgery.zone
    return on_call.deadline(case, rules.hours, zone, desk.practice.book.allowed)


def save(desk: Desk, case: Case, entries_before: int, *, tried_now: bool = False) -> None:
    """Store the case's new entries and its deadline.

    `tried_now`: a notice is on its way by another channel; should it never be accepted, the time
    allowed from now on makes the next contact's turn come.
    """
    deadline = due(desk, case)
    if deadline is not None and tried_now:
        deadline = max(deadline, desk.now + on_call.time_allowed(case, desk.practice.book.allowed))
    escalations.save_case(desk.connection, case, entries_before, deadline)
