"""Before enrolling: what a schedule would do, and what is unusual about a date."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from bot.content.schedule import RowFault, Schedule, ScheduleRow
from bot.core.date_questions import Question, date_questions
from bot.core.protocol import Surgery
from bot.core.record import Operation
from bot.service.practice import Practice
from bot.store import clinic, patients, surgeries
from bot.store.engine import reading


@dataclass(frozen=True, slots=True)
class Row:
    """One good row of a schedule: whom it names, what taking it in would do, what to ask first."""

    line: int
    reference: str
    name: str
    surgery: Surgery
    surgeon: str
    outcome: str  # "new", "moved", "unchanged"
    was: Surgery | None
    patient: int | None
    questions: tuple[Question, ...]


def rows_of(
    practice: Practice, schedule: Schedule, channel: str, now: datetime
) -> tuple[list[Row], list[RowFault]]:
    """Every good row with what it would do, and every fault; nothing is stored."""
    faults = list(schedule.faults)
    rows: list[Row] = []
    phones: dict[str, int] = {}
    with reading(practice.engine) as connection:
        for row in schedule.rows:
            fault = _address_fault(connection, row, channel, phones)
            if fault is None:
                rows.append(_row(connection, practice, row, now))
            else:
                faults.append(fault)
    return rows, sorted(faults, key=lambda fault: fault.line)


def questions_about(
    practice: Practice,
    reference: str,
    name: str,
    born: date | None,
    surgery: Surgery,
    now: datetime,
) -> tuple[Question, ...]:
    """What to ask before this is stored."""
    with reading(practice.engine) as connection:
        known = clinic.perhaps_same(connection, name, born, reference)
    today = now.astimezone(ZoneInfo(surgery.zone)).date()
    return date_questions(surgery, today, practice.rules.hours, known)


def _address_fault(
    connection: Connection, row: ScheduleRow, channel: str, phones: dict[str, int]
) -> RowFault | None:
    if row.shared:
        return None
    known = patients.patient_by_reference(connection, row.patient_id)
    owners = {p.party.patient for p in patients.people_at(connection, channel, row.phone)}
    mend = "Check the number. If both agree to share it, set shared_phone to yes."
    if owners and known not in owners:
        what = "this number is on file for another person."
        return RowFault(row.line, "phone", what, mend)
    if row.phone in phones:
        what = f"this number stands in line {phones[row.phone]} already."
        return RowFault(row.line, "phone", what, mend)
    phones[row.phone] = row.line
    return None


def _row(connection: Connection, practice: Practice, row: ScheduleRow, now: datetime) -> Row:
    new = Surgery(row.joint, row.side, row.surgery_on, row.zone, row.starts_at, row.arrive_at)
    patient = patients.patient_by_reference(connection, row.patient_id)
    was = surgeries.operation_of(connection, patient) if patient is not None else None
    outcome = "new" if was is None else "moved" if _differs(was, new) else "unchanged"
    asked: tuple[Question, ...] = ()
    if outcome != "unchanged":
        known = clinic.perhaps_same(connection, row.name, row.born, row.patient_id)
        today = now.astimezone(ZoneInfo(row.zone)).date()
        asked = date_questions(new, today, practice.rules.hours, known)
        asked += _other_side(was.surgery, new) if was else ()
    return Row(
        row.line, row.patient_id, row.name, new, row.surgeon, outcome,
        was.surgery if was else None, patient, asked,
    )  # fmt: skip


def _differs(was: Operation, new: Surgery) -> bool:
    old = was.surgery
    same_day = (old.joint, old.side, old.on) == (new.joint, new.side, new.on)
    times = new.starts_at is None or (old.starts_at, old.arrive_at) == (
        new.starts_at,
        new.arrive_at,
    )
    return not same_day or not times or was.status == "postponed"


def _other_side(old: Surgery, new: Surgery) -> tuple[Question, ...]:
    if (old.side, old.joint) == (new.side, new.joint):
        return ()
    text = f"The {old.side} {old.joint} is on record. Is it the {new.side} {new.joint} now?"
    return (Question("side", text),)
