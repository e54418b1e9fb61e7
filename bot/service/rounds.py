"""A round of the scheduler: due rows of many patients share a commit, and each fails alone.

Flushing a commit to the disk is most of what a due prompt costs. So the rows that are due together
are handled in one transaction: their charts are read together, one row of each patient is handled,
and what the turns leave is stored together. When anything in it fails, nothing of it was kept and
it is done again, each row behind a savepoint of its own: what fails is undone alone, put off and
told to a nurse after the commit, and the others are stored. When that commit fails too, each row
gets one of its own.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy import Connection

from bot.core.conversation import Escalate
from bot.service.cases import raise_case
from bot.service.chart import load_chart, load_charts
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.store import audit, patients, picking
from bot.store.engine import apart, writing
from bot.store.later import Later
from bot.store.many import reach_of_all
from bot.store.picking import Due

TOGETHER = 50  # rows to a commit, for which replies have to wait
FEWER = 20  # the same where several workers share the rows: each is slower (docs/performance.md)
PUT_OFF = timedelta(hours=1)  # how far a row that failed is moved, so that it stops nobody else


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

    def count(self, batch: "Tick") -> None:
        """Add what a batch did, once it is committed."""
        self.prompts += batch.prompts
        self.timers += batch.timers
        self.stale += batch.stale


@dataclass(frozen=True, slots=True)
class Work:
    """A kind of due row: how to find the next ones, and what to do with some of them.

    `pick` locks patients; `own` asks under the lock for the row of each that is to be handled.
    """

    name: str
    pick: Callable[[Connection, datetime, Due, int], Sequence[Due]]
    own: Callable[[Connection, Sequence[int], datetime], Mapping[int, int]]
    job: Callable[[Sequence[tuple[Desk, int]], Tick], None]
    put_off: Callable[[Connection, int, datetime], None]


@dataclass(slots=True)
class _Batch:
    """What one transaction did; nothing of it counts before its commit."""

    picked: Sequence[Due] = ()
    rows: dict[int, int] = field(default_factory=dict)  # patient -> row, the longest due first
    done: Tick = field(default_factory=Tick)
    failed: list[tuple[int, Exception]] = field(default_factory=list)  # patient, why


@dataclass(slots=True)
class Round:
    """All rows of one kind that are due, each at most once: one that is due again waits a tick."""

    practice: Practice
    work: Work
    now: datetime
    done: Tick
    most: int
    seen: set[int] = field(default_factory=set)

    def handle_all(self) -> None:
        """Go through what is due until nothing new is found, or `most` are handled."""
        before, size = -1, TOGETHER if self.practice.engine.dialect.name == "sqlite" else FEWER
        while before < len(self.seen) < self.most:
            before, place = len(self.seen), picking.BEGINNING
            while len(self.seen) < self.most and (following := self._next(place, size)):
                place = following

    def _next(self, after: Due, most: int, *, guarded: bool = False) -> Due | None:
        """Handle the next rows in one transaction; return the last of them, or None: no more."""
        batch = _Batch()
        try:
            with writing(self.practice.engine) as connection:
                room = min(most, self.most - len(self.seen))
                batch.picked = self.work.pick(connection, self.now, after, room)
                self._handle(connection, batch, guarded=guarded)
        except Exception as error:
            # Whatever is wrong with one patient's row must not keep the others from their prompts.
            if batch.picked and not guarded:
                return self._next(after, len(batch.picked), guarded=True)
            if len(batch.picked) > 1:
                return self._one_by_one(after, len(batch.picked))
            if not batch.rows:
                raise
            batch.done, batch.failed = Tick(), [(batch.picked[0].patient, error)]
        self._settle(batch)
        return batch.picked[-1] if batch.picked else None

    def _one_by_one(self, after: Due, count: int) -> Due | None:
        """The commit failed and nothing of it was kept: each row once more, in one of its own."""
        for _ in range(count):
            following = self._next(after, 1, guarded=True)
            if following is None:
                return None
            after = following
        return after

    def _handle(self, connection: Connection, batch: _Batch, *, guarded: bool) -> None:
        """One row of each patient; if `guarded`, what fails is undone alone and its error kept."""
        whose = list(dict.fromkeys(due.patient for due in batch.picked))
        own = self.work.own(connection, whose, self.now) if whose else {}
        batch.rows = {who: own[who] for who in whose if who in own and own[who] not in self.seen}
        if not guarded:
            self._work(connection, batch.rows, batch.done)
            return
        for patient, row in batch.rows.items():
            done = Tick()
            try:
                with apart(connection):
                    self._work(connection, {patient: row}, done)
            except Exception as error:
                batch.failed.append((patient, error))
            else:
                batch.done.count(done)

    def _work(self, connection: Connection, rows: Mapping[int, int], done: Tick) -> None:
        if not rows:
            return
        charts, later = load_charts(connection, self.practice, list(rows)), Later()
        reach = reach_of_all(connection, list(rows))
        desks = [
            (Desk(
                connection, self.practice, charts[patient], self.now,
                reach=reach.get(patient), later=later,
            ), row)
            for patient, row in rows.items()
        ]  # fmt: skip
        self.work.job(desks, done)
        later.store(connection)

    def _settle(self, batch: _Batch) -> None:
        self.seen.update(batch.rows.values())
        self.done.count(batch.done)
        for patient, error in batch.failed:
            self._put_aside(patient, batch.rows[patient], error)

    def _put_aside(self, patient: int, row: int, error: Exception) -> None:
        """Put the row off and tell a person, in transactions of their own."""
        what, fault = f"{self.work.name} {row}", type(error).__name__
        self.done.failed.append(f"{what}: {fault}: {error}")
        with writing(self.practice.engine) as connection:
            self.work.put_off(connection, row, self.now + PUT_OFF)
            detail = {"what": what, "error": fault}
            audit.note(connection, "scheduler", "put off after an error", patient, self.now, detail)
        _tell_of_fault(self.practice, self.done, self.now, patient, fault)


def _tell_of_fault(practice: Practice, done: Tick, now: datetime, patient: int, fault: str) -> None:
    """Tell the nurse by a case; if even the chart cannot be read, whoever watches `failed`."""
    try:
        with writing(practice.engine) as connection:
            patients.lock(connection, patient)
            desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
            raise_case(desk, Escalate("undelivered", "", (), {"fault": fault}))
    except Exception as error:
        done.failed.append(f"case for patient {patient}: {type(error).__name__}: {error}")
