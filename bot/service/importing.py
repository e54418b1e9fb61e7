"""Brings the record up to a surgery schedule: enrols, moves, and asks about who is absent.

Taking the same schedule in twice changes nothing the second time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from bot.content.schedule import RowFault, Schedule, ScheduleRow
from bot.core.copies import CopyLevel
from bot.core.protocol import Surgery
from bot.service import views
from bot.service.care import Care
from bot.service.enrolment import CoachWish, Enrolment
from bot.store.patients import AddressTaken

WHO = "schedule import"


class Outcome(StrEnum):
    """What became of one row."""

    ENROLLED = "enrolled"
    MOVED = "moved"
    UNCHANGED = "unchanged"


@dataclass(slots=True)
class Imported:
    """What became of a schedule. `absent` are enrolled patients whom it does not name."""

    outcomes: dict[str, Outcome] = field(default_factory=dict)  # patient_id -> outcome
    faults: list[RowFault] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)

    def count(self, outcome: Outcome) -> int:
        """How many rows ended so."""
        return sum(found is outcome for found in self.outcomes.values())


def take_in(care: Care, schedule: Schedule, channel: str, who: str = WHO) -> Iterator[Imported]:
    """Take in every good row, one transaction each; yields after each row, for a progress bar.

    1. A new patient is enrolled; 2. a known one whose day, time, joint or side changed is brought
    up to date; 3. an address that belongs to somebody else is a fault of that row, unless the row
    says that they share it; 4. a patient who is enrolled and no longer in the file is a question
    for a person, never a cancellation.
    """
    done = Imported(faults=list(schedule.faults))
    for row in schedule.rows:
        try:
            done.outcomes[row.patient_id] = _take_row(care, row, channel, who)
        except AddressTaken as taken:
            mend = "Check the number. If both agree to share it, set shared_phone to yes."
            done.faults.append(RowFault(row.line, "phone", str(taken), mend))
        yield done
    done.absent = _absent(care, schedule)
    yield done


def _take_row(care: Care, row: ScheduleRow, channel: str, who: str) -> Outcome:
    patient = views.find(care.practice.engine, row.patient_id)
    if patient is None:
        care.enrol(_wish(row, channel), who)
        return Outcome.ENROLLED
    return Outcome.MOVED if _bring_up(care, patient, row, who) else Outcome.UNCHANGED


def _wish(row: ScheduleRow, channel: str) -> Enrolment:
    coach = row.coach
    return Enrolment(
        reference=row.patient_id,
        name=row.name,
        channel=channel,
        address="" if channel == "telegram" else row.phone,  # there a link opens the chat
        surgery=_surgery(row),
        surgeon=row.surgeon,
        born=row.born,
        language=row.language,
        facts=row.facts,
        holds=row.holds,
        agreed=row.consent,
        shared=row.shared,
        coach=CoachWish(coach.name, channel, coach.phone, CopyLevel(coach.copies))
        if coach
        else None,
    )


def _surgery(row: ScheduleRow) -> Surgery:
    return Surgery(row.joint, row.side, row.surgery_on, row.zone, row.starts_at, row.arrive_at)


def _bring_up(care: Care, patient: int, row: ScheduleRow, who: str) -> bool:
    """Store what the schedule has changed; True when anything was."""
    chart = views.chart(care.practice, patient)
    old, changed = chart.operation.surgery, False
    if (row.side, row.joint) != (old.side, old.joint):
        care.correct_side_or_joint(patient, row.side, row.joint, who)
        changed = True
    if row.surgery_on != old.on or chart.operation.status == "postponed":
        care.move_surgery(patient, row.surgery_on, who, row.starts_at, row.arrive_at)
        changed = True
    elif row.starts_at and (row.starts_at, row.arrive_at) != (old.starts_at, old.arrive_at):
        care.set_start_time(patient, row.starts_at, who, row.arrive_at)
        changed = True
    for hold in row.holds:
        if hold not in chart.holds:
            care.add_medicine_hold(patient, hold, who)
            changed = True
    return changed


def _absent(care: Care, schedule: Schedule) -> list[str]:
    if schedule.faults:
        return []  # a row that could not be read may be the one that seems to be absent
    named = {row.patient_id for row in schedule.rows}
    engine = care.practice.engine
    charts = (views.chart(care.practice, patient) for patient in views.everyone(engine))
    return [
        chart.patient.reference
        for chart in charts
        if chart.operation.status == "planned" and chart.patient.reference not in named
    ]
