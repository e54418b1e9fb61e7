"""Reads a surgery schedule (CSV) into rows that can be enrolled, and names every fault it finds.

A bad row never stops a good one.
"""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import TypeVar

from bot.content.cells import (
    CellFault,
    parse_clock,
    parse_consent,
    parse_date,
    parse_facts,
    parse_filled,
    parse_holds,
    parse_phone,
    parse_word,
    parse_zone,
)
from bot.core.protocol import FactValue, MedicineHold

REQUIRED = ("patient_id", "name", "phone", "born", "joint", "side", "surgery_date", "surgeon")
OPTIONAL = (
    "language",
    "start_time",
    "arrival_time",
    "zone",
    "coach_name",
    "coach_phone",
    "coach_copies",
    "facts",
    "medicine_holds",
    "consent",
    "shared_phone",
)
COPIES = ("everything", "reminders", "trouble_only")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class RowFault:
    """What is wrong in one cell, and how to mend it. `line` counts the header as line 1."""

    line: int
    column: str
    what: str
    mend: str

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.what} {self.mend}"


@dataclass(frozen=True, slots=True)
class CoachRow:
    """The support person named in a row."""

    name: str
    phone: str
    copies: str


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """One patient and operation, as the schedule gives them."""

    line: int
    patient_id: str
    name: str
    phone: str  # E.164
    born: date
    language: str
    joint: str
    side: str
    surgery_on: date
    starts_at: time | None
    arrive_at: time | None
    zone: str
    surgeon: str
    coach: CoachRow | None = None
    facts: Mapping[str, FactValue] = field(default_factory=dict)
    holds: tuple[MedicineHold, ...] = ()
    consent: str = ""  # how the patient agreed to messages; empty: they are asked by text
    shared: bool = False  # the patient's or the coach's phone may be another person's too


@dataclass(frozen=True, slots=True)
class Schedule:
    """The rows that can be enrolled and the faults of those that cannot."""

    rows: tuple[ScheduleRow, ...]
    faults: tuple[RowFault, ...]


class _Row:
    """Reads the cells of one row, keeping the faults instead of stopping at the first."""

    def __init__(self, line: int, cells: Mapping[str, str]) -> None:
        self.line, self.cells = line, cells
        self.faults: list[RowFault] = []

    def take(self, column: str, parse: Callable[[str], T], default: str = "") -> T | None:
        """The parsed cell, or None with a fault noted."""
        text = (self.cells.get(column) or "").strip() or default
        try:
            return parse(text)
        except CellFault as fault:
            self.faults.append(RowFault(self.line, column, fault.what, fault.mend))
            return None

    def coach(self) -> CoachRow | None:
        """The support person, when the row names one."""
        if not (self.cells.get("coach_name") or self.cells.get("coach_phone")):
            return None
        name = self.take("coach_name", parse_filled)
        phone = self.take("coach_phone", parse_phone)
        copies = self.take("coach_copies", parse_word(COPIES), default="reminders")
        return CoachRow(name, phone, copies) if name and phone and copies else None


def read_schedule(path: Path, zone: str, languages: Sequence[str] = ("en", "es")) -> Schedule:
    """The schedule in `path`. `zone` is the hospital's zone, for rows that name none.

    `languages` are those of the content.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        wrong = RowFault(
            1, "-", f"the file is not UTF-8 (byte {fault.start}).", "Save it as UTF-8."
        )
        return Schedule((), (wrong,))
    return parse_schedule(text, zone, languages)


def parse_schedule(text: str, zone: str, languages: Sequence[str] = ("en", "es")) -> Schedule:
    """Every good row, and every fault with its line, column, reason and mend."""
    reader = csv.DictReader(io.StringIO(text))
    columns = [name.strip().lower() for name in reader.fieldnames or ()]
    reader.fieldnames = columns
    faults = list(_header_faults(columns))
    if faults:
        return Schedule((), tuple(faults))
    rows: list[ScheduleRow] = []
    seen: dict[str, int] = {}
    for cells in reader:
        row = _Row(reader.line_num, cells)
        made = _schedule_row(row, zone, languages)
        _note_repeat(row, seen)
        if row.faults or made is None:
            faults.extend(row.faults)
        else:
            rows.append(made)
    return Schedule(tuple(rows), tuple(faults))


def _header_faults(columns: list[str]) -> Iterator[RowFault]:
    for name in REQUIRED:
        if name not in columns:
            yield RowFault(1, name, "the column is missing.", f"Add a column headed '{name}'.")
    for name in columns:
        if name not in REQUIRED + OPTIONAL:
            known = ", ".join(REQUIRED + OPTIONAL)
            yield RowFault(1, name, "the column is not known.", f"Known columns: {known}.")


def _note_repeat(row: _Row, seen: dict[str, int]) -> None:
    patient = (row.cells.get("patient_id") or "").strip()
    if patient in seen:
        what = f"'{patient}' stands in line {seen[patient]} already."
        row.faults.append(RowFault(row.line, "patient_id", what, "Keep one row for each patient."))
    else:
        seen[patient] = row.line


def _schedule_row(row: _Row, zone: str, languages: Sequence[str]) -> ScheduleRow | None:
    taken = {
        "patient_id": row.take("patient_id", parse_filled),
        "name": row.take("name", parse_filled),
        "phone": row.take("phone", parse_phone),
        "born": row.take("born", parse_date),
        "language": row.take("language", parse_word(tuple(languages)), default="en"),
        "joint": row.take("joint", parse_word(("hip", "knee"))),
        "side": row.take("side", parse_word(("left", "right"))),
        "surgery_on": row.take("surgery_date", parse_date),
        "starts_at": row.take("start_time", parse_clock),
        "arrive_at": row.take("arrival_time", parse_clock),
        "zone": row.take("zone", parse_zone, default=zone),
        "surgeon": row.take("surgeon", parse_filled),
        "coach": row.coach(),
        "facts": row.take("facts", parse_facts),
        "holds": row.take("medicine_holds", parse_holds),
        "consent": row.take("consent", parse_consent),
        "shared": row.take("shared_phone", parse_word(("yes", "no")), default="no") == "yes",
    }
    return None if row.faults else ScheduleRow(line=row.line, **taken)  # type: ignore[arg-type]
