"""Makes the patient's dated countdown, or makes it anew after a change, and stores it."""

from collections.abc import Sequence
from dataclasses import dataclass

from bot.core.changed import replace
from bot.core.consent import ASKING_PROTOCOL, must_be_asked
from bot.core.conversation import Escalate
from bot.core.plan import facts_read, lines_for, make_countdown
from bot.core.planned import Countdown, NotPlanned
from bot.core.protocol import Candidate, Protocol
from bot.core.replan import StoredPrompt, put_off, replan
from bot.service.chart import Chart, candidate
from bot.service.desk import Desk
from bot.store import plans, surgeries

# What a planner's reason for leaving a prompt out is to the nurse.
_FOR_NURSE = {  # why a prompt has no time -> the escalation that tells the nurse
    "medicine_date_past": "medicine_date_past",
    "too_late": "too_late",
    "quiet_hours": "too_late",
}


@dataclass(frozen=True, slots=True)
class Planned:
    """What planning changed, and what the nurse must hear of it."""

    added: int
    withdrawn: int
    escalations: tuple[Escalate, ...]


def plan(desk: Desk) -> Planned:
    """Bring the stored countdown up to the chart. Doing it twice changes nothing twice.

    1. Make the countdown from the chart, or the question of consent alone while that is open;
    2. compare it with what is stored; 3. withdraw, retime and add rows; 4. keep what can no longer
    be done for the nurse, and say so.
    """
    chart, connection, now = desk.chart, desk.connection, desk.now
    if chart.operation.status != "planned":
        return Planned(0, withdraw_all(desk, f"surgery {chart.operation.status}"), ())
    stored = plans.kept_prompts(connection, chart.operation)
    made = _made(desk, stored)
    change = replan(stored, made, now)
    plans.withdraw_prompts(connection, chart.operation, change.cancel, "planned anew", now)
    plans.retime_prompts(connection, chart.operation, change.retime, now)
    plans.put_prompts(connection, chart.operation, change.add, now)
    for lost in change.missed:
        plans.note_missed(connection, chart.operation, lost, now)
    surgeries.set_nurse_due(connection, chart.operation.id, made.nurse_due)
    return Planned(len(change.add), len(change.cancel), _for_nurse(change.missed))


def may_differ(before: Desk, after: Desk) -> bool:
    """False when planning would look at the very same things before and after a turn.

    Facts count by the lines of the protocol that they let in or keep out. An item that was done
    meanwhile is no reason: its prompt is not asked when its time comes. One that is done no more
    is, for its prompts may have been left out since.
    """
    if must_be_asked(before.chart.facts) != must_be_asked(after.chart.facts):
        return True
    was, known = (candidate(desk.chart, desk.practice) for desk in (before, after))
    if was.done - known.done:
        return True
    if _beside_facts(before.chart, was) != _beside_facts(after.chart, known):
        return True
    protocol, surgery = after.chart.protocol, after.chart.operation.surgery
    read = facts_read(protocol)
    if all(was.facts.get(name) == known.facts.get(name) for name in read):
        return False
    return lines_for(protocol, was, surgery) != lines_for(protocol, known, surgery)


def _beside_facts(chart: Chart, known: Candidate) -> tuple[object, ...]:
    """All else that the planner reads of a chart."""
    person = replace(known, facts={}, done=frozenset())
    return person, chart.operation, chart.rules, chart.protocol.name


def _made(desk: Desk, stored: Sequence[StoredPrompt]) -> Countdown:
    """The countdown; while consent is not on record only its question goes out."""
    made = _countdown(desk, desk.chart.protocol, stored)
    if not must_be_asked(desk.chart.facts):
        return made
    return replace(made, prompts=_countdown(desk, ASKING_PROTOCOL, stored).prompts)


def _countdown(desk: Desk, protocol: Protocol, stored: Sequence[StoredPrompt] = ()) -> Countdown:
    chart = desk.chart
    known = candidate(chart, desk.practice)
    sent = [(one.prompt.to, one.sent_at) for one in stored if one.sent_at is not None]
    return make_countdown(
        protocol, chart.rules, known, chart.operation.surgery, desk.now, sent, put_off(stored)
    )


def withdraw_all(desk: Desk, reason: str) -> int:
    """Withdraw every prompt that has not gone out; return how many."""
    waiting = plans.prompts_of(desk.connection, desk.chart.operation)
    keys = [prompt.key for prompt in waiting]
    plans.withdraw_prompts(desk.connection, desk.chart.operation, keys, reason, desk.now)
    surgeries.set_nurse_due(desk.connection, desk.chart.operation.id, None)
    return len(keys)


def _for_nurse(missed: Sequence[NotPlanned]) -> tuple[Escalate, ...]:
    """One escalation for each kind of miss, with the list of what is missed."""
    found = []
    for why, reason in _FOR_NURSE.items():
        lost = [m for m in missed if m.reason == why]
        if lost:
            titles = [m.values.get("medicine", m.flow) for m in lost]
            listed = ", ".join(dict.fromkeys(titles))
            found.append(Escalate(reason, "", (), {"not done": listed}))
    return tuple(found)
