"""One tick of the scheduler: what is due now is handled, many patients to one commit."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy import Connection

from bot.core.conversation import Escalate, PromptDue, TimeUp
from bot.core.planned import Part, PlannedPrompt
from bot.core.protocol import Late, Priority
from bot.core.quiet import is_quiet, next_waking
from bot.service import overdue, shared_phone
from bot.service.cases import raise_case
from bot.service.chart import Chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.rounds import Round, Tick, Work
from bot.service.turns import take_turn
from bot.store import conversations, due, firing, picking
from bot.store.engine import reading

ROUND = 200  # rows of a kind to one tick of a worker (our choice)
EVERYTHING = 2**31  # more rows than can be due
LATE_AFTER = timedelta(minutes=30)  # a prompt this late falls under its late policy (our choice)


def tick(practice: Practice, now: datetime, most: int = EVERYTHING) -> Tick:
    """Handle what is due at `now`: everything, or at most `most` of each kind, so that a long
    backlog of prompts keeps no escalation waiting and `now` stays the present.

    1. Due prompts, the oldest first, each claimed and stored with its turn, and 2. timers of chats
    (nudges, silence, waiting questions), those that are due together in one commit; 3. escalations
    past their time, start times still missing; texts of a shared phone of which nobody said whom
    they are about. A row that fails is undone alone, put off and told to the nurse; the others go
    on.
    """
    done = Tick()
    if not _anything_due(practice, now):
        return done
    for work in (_PROMPTS, _CHATS):
        Round(practice, work, now, done, most).handle_all()
    done.climbed = overdue.climb_all(practice, now, done.failed)
    overdue.tell_missing_starts(practice, now, done.failed)
    done.left_open = shared_phone.expire(practice, now, done.failed)
    return done


def _anything_due(practice: Practice, now: datetime) -> bool:
    with reading(practice.engine) as connection:
        moment = due.next_tick(connection)
    return moment is not None and moment <= now


def _timers(desks: Sequence[tuple[Desk, int]], done: Tick) -> None:
    for desk, _ in desks:
        take_turn(desk, TimeUp())
        done.timers += 1


def _prompts(desks: Sequence[tuple[Desk, int]], done: Tick) -> None:
    """Decide what becomes of each prompt, claim them all, then take the turns."""
    connection, now = desks[0][0].connection, desks[0][0].now
    prompts = firing.prompts_by_id(connection, [row for _, row in desks])
    decided = [(desk, row, _decided(desk, prompts[row])) for desk, row in desks]
    going = [(desk, row, fate) for desk, row, fate in decided if fate.until is None]
    firing.claim_all(connection, [(row, fate.state, fate.reason) for _, row, fate in going], now)
    for _, row, fate in decided:
        if fate.until is not None:
            firing.put_off(connection, row, fate.until, "waits for the morning")
    for desk, _, fate in going:
        _let_go(desk, fate, done)


def _let_go(desk: Desk, fate: "_Fate", done: Tick) -> None:
    if fate.state == "sent":
        take_turn(_for(desk, fate.prompt), _event(fate.prompt, fate.parts))
        done.prompts += 1
    else:
        _tell_nurse(desk, fate.prompt, fate.state, fate.reason)
        done.stale += 1


@dataclass(frozen=True, slots=True)
class _Fate:
    """What becomes of a due prompt; `until`: it stays in the plan and is put off."""

    prompt: PlannedPrompt
    parts: tuple[Part, ...]
    state: str
    reason: str
    until: datetime | None = None


def _decided(desk: Desk, prompt: PlannedPrompt) -> _Fate:
    parts = _still_wanted(prompt, desk.chart)
    state, reason = _fate(prompt, parts, desk.chart, desk.now)
    if state == "sent" and _would_wake(prompt, desk.chart, desk.now):
        morning = next_waking(desk.now, desk.chart.operation.surgery.zone, desk.chart.rules)
        if morning <= prompt.closes:
            return _Fate(prompt, parts, state, reason, morning)
        state, reason = _too_late(prompt)
    return _Fate(prompt, parts, state, reason)


def _put_off_prompt(connection: Connection, prompt: int, until: datetime) -> None:
    firing.put_off(connection, prompt, until, "put off after an error")


_PROMPTS = Work("prompt", picking.next_prompts, picking.prompts_of, _prompts, _put_off_prompt)
_CHATS = Work("chat", picking.next_chats, picking.chats_of, _timers, conversations.put_off_waking)


def _would_wake(prompt: PlannedPrompt, chart: Chart, now: datetime) -> bool:
    """True of a prompt that was meant for the day and that an outage made late into the night.

    What was planned for the night was agreed to; so is a late time-critical one by who agreed.
    """
    rules, zone = chart.rules, chart.operation.surgery.zone
    agreed = prompt.priority is Priority.TIME_CRITICAL and chart.patient.dawn_agreed
    return not agreed and is_quiet(now, zone, rules) and not is_quiet(prompt.due, zone, rules)


def _still_wanted(prompt: PlannedPrompt, chart: Chart) -> tuple[Part, ...]:
    return tuple(part for part in prompt.parts if part.item not in chart.done)


def _fate(
    prompt: PlannedPrompt, parts: tuple[Part, ...], chart: Chart, now: datetime
) -> tuple[str, str]:
    """Decide what becomes of a due prompt: sent, skipped, or missed (the nurse sees it)."""
    if not parts:
        return "skipped", "already done"
    if prompt.to == "coach" and not chart.active_coaches:
        return "skipped", "no coach"
    if chart.conversation.stopped or chart.conversation.paused:
        return "missed", "stopped" if chart.conversation.stopped else "paused"
    late = now - prompt.due > LATE_AFTER
    if now > prompt.closes:
        return _too_late(prompt)
    if late and prompt.late is not Late.SEND:
        return ("missed" if prompt.late is Late.NURSE else "skipped"), "late"
    return "sent", ""


def _too_late(prompt: PlannedPrompt) -> tuple[str, str]:
    grave = prompt.priority is not Priority.TEACHING or prompt.late is Late.NURSE
    return ("missed" if grave else "skipped"), "stale"


def _event(prompt: PlannedPrompt, parts: tuple[Part, ...]) -> PromptDue:
    pairs = tuple((part.flow, part.values) for part in parts)
    return PromptDue(prompt.key, pairs, prompt.to, prompt.priority, prompt.closes)


def _for(desk: Desk, prompt: PlannedPrompt) -> Desk:
    return replace(desk, closes=prompt.closes, prompt=prompt.key)


def _tell_nurse(desk: Desk, prompt: PlannedPrompt, state: str, reason: str) -> None:
    """What a patient should have been asked and was not is never lost in a log."""
    if state == "missed" and reason in ("stale", "late"):
        flows = ", ".join(dict.fromkeys(part.flow for part in prompt.parts))
        raise_case(desk, Escalate("too_late", "", (), {"not sent": flows}))
