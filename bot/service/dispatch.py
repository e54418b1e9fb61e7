"""One tick of the scheduler: what is due now is handled, one patient and one commit at a time."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from sqlalchemy import Connection

from bot.core.conversation import Escalate, PromptDue, TimeUp
from bot.core.planned import Part, PlannedPrompt
from bot.core.protocol import Late, Priority
from bot.core.quiet import is_quiet, next_waking
from bot.service import overdue, shared_phone
from bot.service.cases import raise_case
from bot.service.chart import Chart, load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.turns import take_turn
from bot.store import audit, conversations, due, patients, plans
from bot.store.engine import reading, writing

BATCH = 200  # rows looked at together; more only means another round
PUT_OFF = timedelta(hours=1)  # how far a row that failed is moved, so that it stops nobody else
LATE_AFTER = timedelta(minutes=30)  # a prompt this late falls under its late policy (our choice)


@dataclass(slots=True)
class Tick:
    """What one tick did. `failed` names the rows that were put off, with the kind of error."""

    prompts: int = 0
    timers: int = 0
    stale: int = 0
    climbed: int = 0
    left_open: int = 0  # texts of a shared phone, left to a nurse
    failed: list[str] = field(default_factory=list)

    @property
    def busy(self) -> bool:
        """True when anything was done."""
        done = self.prompts + self.timers + self.stale + self.climbed + self.left_open
        return bool(done or self.failed)


def tick(practice: Practice, now: datetime) -> Tick:
    """Handle everything that is due at `now`.

    1. Due prompts, the oldest first, each claimed and stored with its turn in one commit; 2. timers
    of chats (nudges, silence, waiting questions); 3. escalations past their time, start times still
    missing; texts of a shared phone of which nobody said whom they are about. A row that fails is
    rolled back, put off and told to the nurse; the others go on.
    """
    done = Tick()
    if not _anything_due(practice, now):
        return done
    while prompts := _due_prompts(practice, now):
        for prompt, patient in prompts:
            _guard(practice, done, now, patient, f"prompt {prompt}", _prompt(prompt, done))
    rung: set[int] = set()  # a chat whose timer asks for this very instant again waits a tick
    while waking := [each for each in _waking(practice, now) if each not in rung]:
        for patient in waking:
            _guard(practice, done, now, patient, f"chat {patient}", _timer(done))
        rung |= set(waking)
    done.climbed = overdue.climb_all(practice, now)
    overdue.tell_missing_starts(practice, now)
    done.left_open = shared_phone.expire(practice, now)
    return done


def _anything_due(practice: Practice, now: datetime) -> bool:
    with reading(practice.engine) as connection:
        moment = due.next_tick(connection)
    return moment is not None and moment <= now


Job = Callable[[Desk], None]


def _due_prompts(practice: Practice, now: datetime) -> list[tuple[int, int]]:
    with reading(practice.engine) as connection:
        return plans.due_prompts(connection, now, BATCH)


def _waking(practice: Practice, now: datetime) -> list[int]:
    with reading(practice.engine) as connection:
        return conversations.conversations_due(connection, now, BATCH)


def _guard(
    practice: Practice, done: Tick, now: datetime, patient: int, what: str, job: Job
) -> None:
    """Run one job in its own transaction; on any error roll back, put off, and tell a person."""
    try:
        with writing(practice.engine) as connection:
            patients.lock(connection, patient)
            job(Desk(connection, practice, load_chart(connection, practice, patient), now))
    except Exception as error:
        # Whatever is wrong with one patient's row must not keep the others from their prompts.
        done.failed.append(f"{what}: {type(error).__name__}: {error}")
        with writing(practice.engine) as connection:
            _put_off(connection, what, now)
            detail = {"what": what, "error": type(error).__name__}
            audit.note(connection, "scheduler", "put off after an error", patient, now, detail)
        _tell_of_fault(practice, done, now, patient, type(error).__name__)


def _tell_of_fault(practice: Practice, done: Tick, now: datetime, patient: int, fault: str) -> None:
    """Tell the nurse by a case; if even the chart cannot be read, whoever watches `failed`."""
    try:
        with writing(practice.engine) as connection:
            desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
            raise_case(desk, Escalate("undelivered", "", (), {"fault": fault}))
    except Exception as error:
        done.failed.append(f"case for patient {patient}: {type(error).__name__}: {error}")


def _put_off(connection: Connection, what: str, now: datetime) -> None:
    kind, _, row = what.partition(" ")
    if kind == "prompt":
        plans.put_off(connection, int(row), now + PUT_OFF, "put off after an error")
    else:
        conversations.put_off_waking(connection, int(row), now + PUT_OFF)


def _timer(done: Tick) -> Job:
    def job(desk: Desk) -> None:
        take_turn(desk, TimeUp())
        done.timers += 1

    return job


def _prompt(prompt_id: int, done: Tick) -> Job:
    def job(desk: Desk) -> None:
        prompt = plans.prompt_by_id(desk.connection, prompt_id)
        parts = _still_wanted(prompt, desk.chart)
        state, reason = _fate(prompt, parts, desk.chart, desk.now)
        if state == "sent" and _would_wake(prompt, desk.chart, desk.now):
            morning = next_waking(desk.now, desk.chart.operation.surgery.zone, desk.chart.rules)
            if morning <= prompt.closes:
                plans.put_off(desk.connection, prompt_id, morning, "waits for the morning")
                return
            state, reason = _too_late(prompt)
        if not plans.claim_prompt(desk.connection, prompt_id, state, reason, desk.now):
            return  # another worker has it
        if state == "sent":
            done.prompts += 1
            take_turn(_for(desk, prompt), _event(prompt, parts))
        else:
            done.stale += 1
            _tell_nurse(desk, prompt, state, reason)

    return job


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
