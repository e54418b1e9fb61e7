"""What the program report counts, a statement each. Patients who are not real are left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, Subquery, and_, case, func, select

from bot.store.tables import CONTACT, ITEM, SURGEON, SURGERY
from bot.store.tables_log import AUDIT, ESCALATION, ESCALATION_EVENT, INBOUND
from bot.store.worklist import TRIAL

MOVED, CANCELLED = "moved the surgery", "cancelled the surgery"  # as the audit log says it


@dataclass(frozen=True, slots=True)
class Cohort:
    """Whose figures: patients whose surgery is, or was, in this span; both days included."""

    first: date
    last: date
    surgeon: str = ""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One escalation with the moments that are measured; None: has not happened."""

    severity: str
    opened_at: datetime
    taken_at: datetime | None
    reached_at: datetime | None
    closed_at: datetime | None


@dataclass(frozen=True, slots=True)
class Moved:
    """One change of date, or a cancellation (`to` is None), and the day that it was for."""

    at: datetime
    zone: str
    old: date
    to: date | None


def _cohort(cohort: Cohort) -> Subquery:
    trials = select(CONTACT.c.patient_id).where(CONTACT.c.channel == TRIAL)
    query = (
        select(SURGERY.c.patient_id, SURGERY.c.revision, SURGERY.c.on_date, SURGERY.c.zone)
        .add_columns(SURGERY.c.status)
        .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
        .where(
            SURGERY.c.on_date.between(cohort.first, cohort.last),
            SURGERY.c.patient_id.notin_(trials),
        )
    )
    if cohort.surgeon:
        query = query.where(SURGEON.c.name == cohort.surgeon)
    return query.subquery()


def sizes(connection: Connection, cohort: Cohort, today: date) -> dict[str, int]:
    """How many of the cohort are ahead of their surgery, past it, or stopped."""
    of = _cohort(cohort)
    standing = case(
        (of.c.status != "planned", "stopped"), (of.c.on_date < today, "past"), else_="ahead"
    )
    query = select(standing.label("standing"), func.count().label("number")).group_by(standing)
    return {row.standing: row.number for row in connection.execute(query)}


def completion(
    connection: Connection, cohort: Cohort, today: date
) -> tuple[int, dict[str, dict[str, int]]]:
    """Of those whose day has come: how many they are, and item -> value -> how many patients."""
    of = _cohort(cohort)
    come = and_(of.c.on_date <= today, of.c.status == "planned")
    total = connection.execute(select(func.count()).select_from(of).where(come)).scalar_one()
    query = (
        select(ITEM.c.name, ITEM.c.value, func.count().label("number"))
        .join(of, and_(of.c.patient_id == ITEM.c.patient_id, of.c.revision == ITEM.c.generation))
        .where(come)
        .group_by(ITEM.c.name, ITEM.c.value)
    )
    found: dict[str, dict[str, int]] = {}
    for row in connection.execute(query):
        found.setdefault(row.name, {})[row.value] = row.number
    return total, found


def last_words(
    connection: Connection, cohort: Cohort, today: date, limits: Sequence[datetime]
) -> list[int]:
    """Of those still ahead of surgery: how many wrote last since the first limit, since the
    second (and not the first), and so on; then before the last limit; then never."""
    of = _cohort(cohort)
    last = (
        select(INBOUND.c.patient_id, func.max(INBOUND.c.handled_at).label("at"))
        .where(INBOUND.c.by_role == "patient")
        .group_by(INBOUND.c.patient_id)
        .subquery()
    )
    rungs = [(last.c.at >= limit, place) for place, limit in enumerate(limits)]
    bucket = case((last.c.at.is_(None), len(limits) + 1), *rungs, else_=len(limits))
    query = (
        select(bucket.label("place"), func.count().label("number"))
        .select_from(of.outerjoin(last, last.c.patient_id == of.c.patient_id))
        .where(of.c.on_date >= today, of.c.status == "planned")
        .group_by(bucket)
    )
    counts = {row.place: row.number for row in connection.execute(query)}
    return [counts.get(place, 0) for place in range(len(limits) + 2)]


def alarms(connection: Connection, cohort: Cohort) -> list[Alarm]:
    """Every escalation of the cohort, in the order of opening."""
    of, event = _cohort(cohort), ESCALATION_EVENT.c

    def first(*steps: str) -> object:
        return func.min(case((event.step.in_(steps), event.at)))

    query = (
        select(
            ESCALATION.c.severity,
            ESCALATION.c.opened_at,
            ESCALATION.c.closed_at,
            first("acknowledged", "patient_reached").label("taken_at"),  # type: ignore[attr-defined]
            first("patient_reached").label("reached_at"),  # type: ignore[attr-defined]
        )
        .join(of, of.c.patient_id == ESCALATION.c.patient_id)
        .join(ESCALATION_EVENT, event.escalation_id == ESCALATION.c.id)
        .group_by(ESCALATION.c.id)
        .order_by(ESCALATION.c.id)
    )
    return [
        Alarm(r.severity, r.opened_at, r.taken_at, r.reached_at, r.closed_at)
        for r in connection.execute(query)
    ]


def moves(connection: Connection, cohort: Cohort) -> list[Moved]:
    """Every change of date and every cancellation of the cohort."""
    of = _cohort(cohort)
    query = (
        select(AUDIT.c.at, AUDIT.c.what, AUDIT.c.detail, of.c.on_date, of.c.zone)
        .join(of, of.c.patient_id == AUDIT.c.patient_id)
        .where(AUDIT.c.what.in_((MOVED, CANCELLED)))
        .order_by(AUDIT.c.id)
    )
    return [
        Moved(
            row.at,
            row.zone,
            _date(row.detail.get("from")) or row.on_date,
            _to(row.what, row.detail),
        )
        for row in connection.execute(query)
    ]


def _to(what: str, detail: dict[str, str]) -> date | None:
    return _date(detail.get("to")) if what == MOVED else None


def _date(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None  # "None": postponed with no date yet
