"""Changes of the operation, tried first: what would be sent, withdrawn and re-timed.

The change is really made, looked at, and rolled back, so that what is shown is what will happen.
Nothing is sent meanwhile: messages leave the outbox only after a commit.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection

from bot.core.escalation import Case
from bot.core.planned import Part
from bot.core.record import Message, Operation
from bot.service import changes, nursing
from bot.service.changes import NewTimes
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.store import escalations, outbox, patients, plans
from bot.store.engine import writing

Act = Callable[[Desk], None]
_Key = tuple[str, str]  # a part's own key, and to whom it goes


class ChangedMeanwhile(ValueError):
    """The operation is no longer what the preview was made from. Nothing was stored."""


@dataclass(frozen=True, slots=True)
class Line:
    """One planned message before and after; None: not planned."""

    title: str
    to: str
    before: datetime | None
    after: datetime | None


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a change will do. `mark` proves on confirming that nothing changed in between."""

    mark: str
    sent: tuple[Message, ...]  # at once
    unsent: tuple[Message, ...]  # were waiting to go out, and will not
    added: tuple[Line, ...]
    withdrawn: tuple[Line, ...]
    retimed: tuple[Line, ...]
    unchanged: int
    questions: tuple[str, ...]  # titles of what it puts on the nurse's list


@dataclass(frozen=True, slots=True)
class _Snapshot:
    planned: Mapping[_Key, tuple[datetime, Part]]
    messages: Mapping[int, Message]
    cases: Mapping[int, Case]


def move(to: NewTimes) -> Act:
    """The act of giving the surgery another date, another time, or none yet."""

    def act(desk: Desk) -> None:
        if to.starts_at is not None:
            nursing.settle_quietly(desk, "start_missing", "start time entered")
        changes.move_surgery(desk, to)

    return act


def cancel() -> Act:
    """The act of cancelling."""
    return changes.cancel_surgery


def correct(side: str, joint: str) -> Act:
    """The act of correcting the record."""
    return lambda desk: changes.correct_side_or_joint(desk, side, joint)


def foresee(practice: Practice, patient: int, act: Act, who: str, now: datetime) -> Foreseen:
    """Do it, look, and take it all back."""
    with practice.engine.connect() as connection:
        transaction = connection.begin()
        try:
            desk = _desk(connection, practice, patient, who, now)
            before, mark = _snapshot(desk), mark_of(desk.chart.operation)
            act(desk)
            after = _snapshot(replace(desk, chart=load_chart(connection, practice, patient)))
        finally:
            transaction.rollback()
    return _compared(practice, mark, before, after)


def carry_out(
    practice: Practice, patient: int, act: Act, who: str, now: datetime, mark: str
) -> None:
    """Do what was previewed. Raises ChangedMeanwhile when the operation is another by now."""
    with writing(practice.engine) as connection:
        desk = _desk(connection, practice, patient, who, now)
        if mark_of(desk.chart.operation) != mark:
            raise ChangedMeanwhile(
                "The operation was changed since this preview was made. Nothing was stored: look"
                " at what stands now, and begin again."
            )
        act(desk)


def mark_of(operation: Operation) -> str:
    """Differs when anything about the operation differs."""
    told = (operation.surgery, operation.status, operation.revision)
    return sha256(repr(told).encode()).hexdigest()[:16]


def _desk(
    connection: Connection, practice: Practice, patient: int, who: str, now: datetime
) -> Desk:
    patients.lock(connection, patient)
    chart = load_chart(connection, practice, patient)
    return Desk(connection, practice, chart, now, staff=who)


def _snapshot(desk: Desk) -> _Snapshot:
    prompts = plans.prompts_of(desk.connection, desk.chart.operation)
    planned = {(part.key, p.to): (p.due, part) for p in prompts for part in p.parts}
    messages = {m.id: m for m in outbox.messages_of(desk.connection, desk.patient)}
    cases = {c.id: c for c in escalations.open_cases(desk.connection, desk.patient)}
    return _Snapshot(planned, messages, cases)


def _compared(practice: Practice, mark: str, before: _Snapshot, after: _Snapshot) -> Foreseen:
    lines = _lines(practice, before, after)
    return Foreseen(
        mark=mark,
        sent=tuple(
            m
            for m in after.messages.values()
            if m.id not in before.messages and m.to_role in ("patient", "coach")
        ),
        unsent=tuple(
            m
            for m in after.messages.values()
            if m.state == "withdrawn" and before.messages.get(m.id, m).state == "queued"
        ),
        added=tuple(li for li in lines if li.before is None),
        withdrawn=tuple(li for li in lines if li.after is None),
        retimed=tuple(li for li in lines if li.before and li.after and li.before != li.after),
        unchanged=sum(li.before == li.after for li in lines),
        questions=_questions(practice, before, after),
    )


def _lines(practice: Practice, before: _Snapshot, after: _Snapshot) -> list[Line]:
    found = []
    for key in dict.fromkeys((*before.planned, *after.planned)):
        was, will = before.planned.get(key), after.planned.get(key)
        part = (will or was or (None, Part("", "")))[1]
        line = Line(_title(practice, part), key[1], was and was[0], will and will[0])
        found.append(line)
    return sorted(found, key=_when)


def _when(line: Line) -> tuple[datetime, str]:
    at = line.after or line.before
    assert at is not None  # noqa: S101 - a line is in one of the two plans
    return at, line.title


def _title(practice: Practice, part: Part) -> str:
    flow = practice.book.flows.get(part.flow)
    about = part.values.get("medicine") or part.values.get("n") or ""
    return (flow.title if flow else part.flow) + (f" ({about})" if about else "")


def _questions(practice: Practice, before: _Snapshot, after: _Snapshot) -> tuple[str, ...]:
    reasons, found = practice.book.reasons, []
    for case in after.cases.values():
        old = before.cases.get(case.id)
        for entry in case.entries[len(old.entries) if old else 0 :]:
            if entry.reason:
                title = reasons[entry.reason].title if entry.reason in reasons else entry.reason
                about = entry.detail.get("medicine", "")
                found.append(title + (f": {about}" if about else ""))
    return tuple(dict.fromkeys(found))
