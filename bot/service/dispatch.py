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
from bot.store import audit, conversations, due, patients, picking, plans
from bot.store.engine import reading, writing
from bot.store.picking import Due

ROUND = 200  # rows of a kind to one tick of a worker (our choice)
EVERYTHING = 2**31  # more rows than can be due
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


def tick(practice: Practice, now: datetime, most: int = EVERYTHING) -> Tick:
    """Handle what is due at `now`: everything, or at most `most` of each kind, so that a long
    backlog of prompts keeps no escalation waiting and `now` stays the present.

    1. Due prompts, the oldest first, each claimed and stored with its turn in one commit; 2. timers
    of chats (nudges, silence, waiting questions); 3. escalations past their time, start times still
    missing; texts of a shared phone of which nobody said whom they are about. A row that fails is
    rolled back, put off and told to the nurse; the others go on.
    """
    done = Tick()
    if not _anything_due(practice, now):
        return done
    for work in (_PROMPTS, _CHATS):
        _Round(practice, work, now, done, most).handle_all()
    done.climbed = overdue.climb_all(practice, now, done.failed)
    overdue.tell_missing_starts(practice, now, done.failed)
    done.left_open = shared_phone.expire(practice, now, done.failed)
    return done


def _anything_due(practice: Practice, now: datetime) -> bool:
    with reading(practice.engine) as connection:
        moment = due.next_tick(connection)
    return moment is not None and moment <= now


@dataclass(slots=True)
class _Round:
    """All rows of one kind that are due, each at most once: one that is due again waits a tick."""

    practice: Practice
    work: "_Work"
    now: datetime
    done: Tick
    most: int
    seen: set[int] = field(default_factory=set)

    def handle_all(self) -> None:
        """Go through what is due until nothing new is found, or `most` are handled."""
        before = -1
        while before < len(self.seen) < self.most:
            before, place = len(self.seen), picking.BEGINNING
            while len(self.seen) < self.most and (following := self._one(place)) is not None:
                place = following

    def _one(self, after: Due) -> Due | None:
        """The next row in its own transaction; on any error roll back, put off, tell a person."""
        picked, row = None, None
        try:
            with writing(self.practice.engine) as connection:
                picked = self.work.pick(connection, self.now, after)
                row = self.work.own(connection, picked.patient, self.now) if picked else None
                if picked is not None and row is not None and row not in self.seen:
                    self.seen.add(row)
                    chart = load_chart(connection, self.practice, picked.patient)
                    self.work.job(Desk(connection, self.practice, chart, self.now), row, self.done)
        except Exception as error:
            # Whatever is wrong with one patient's row must not keep the others from their prompts.
            if picked is None or row is None:
                raise
            _put_aside(self, picked.patient, row, error)
        return picked


def _put_aside(of: _Round, patient: int, row: int, error: Exception) -> None:
    what = f"{of.work.name} {row}"
    of.done.failed.append(f"{what}: {type(error).__name__}: {error}")
    with writing(of.practice.engine) as connection:
        of.work.put_off(connection, row, of.now + PUT_OFF)
        detail = {"what": what, "error": type(error).__name__}
        audit.note(connection, "scheduler", "put off after an error", patient, of.now, detail)
    _tell_of_fault(of.practice, of.done, of.now, patient, type(error).__name__)


def _tell_of_fault(practice: Practice, done: Tick, now: datetime, patient: int, fault: str) -> None:
    """Tell the nurse by a case; if even the chart cannot be read, whoever watches `failed`."""
    try:
        with writing(practice.engine) as connection:
            patients.lock(connection, patient)
            desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
            raise_case(desk, Escalate("undelivered", "", (), {"fault": fault}))
    except Exception as error:
        done.failed.append(f"case for patient {patient}: {type(error).__name__}: {error}")


def _timer(desk: Desk, _patient: int, done: Tick) -> None:
    take_turn(desk, TimeUp())
    done.timers += 1


def _prompt(desk: Desk, prompt_id: int, done: Tick) -> None:
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


def _put_off_prompt(connection: Connection, prompt: int, until: datetime) -> None:
    plans.put_off(connection, prompt, until, "put off after an error")


@dataclass(frozen=True, slots=True)
class _Work:
    """A kind of due row: how to find the next, and what to do with it."""

    name: str
    pick: Callable[[Connection, datetime, Due], Due | None]
    own: Callable[[Connection, int, datetime], int | None]
    job: Callable[[Desk, int, Tick], None]
    put_off: Callable[[Connection, int, datetime], None]


_PROMPTS = _Work("prompt", picking.next_prompt, picking.prompt_of, _prompt, _put_off_prompt)
_CHATS = _Work("chat", picking.next_chat, picking.chat_of, _timer, conversations.put_off_waking)


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
