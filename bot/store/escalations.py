"""Cases and their logs. The log is the truth; the columns beside it are there to be searched."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import BindParameter, Connection, Integer, bindparam, select

from bot.core.escalation import Case, Entry, Step
from bot.store.engine import insert_one, insert_rows, update_row
from bot.store.prepared import Prepared
from bot.store.tables_log import ESCALATION, ESCALATION_EVENT

_CASE: BindParameter[int] = bindparam("case", type_=Integer)
_HEAD = Prepared(
    select(ESCALATION.c.id, ESCALATION.c.patient_id, ESCALATION.c.topic).where(
        ESCALATION.c.id == _CASE
    )
)
_LOG = Prepared(
    select(ESCALATION_EVENT)
    .where(ESCALATION_EVENT.c.escalation_id == _CASE)
    .order_by(ESCALATION_EVENT.c.place)
)
_OPEN = Prepared(
    select(ESCALATION.c.id).where(
        ESCALATION.c.patient_id == bindparam("patient"),
        ESCALATION.c.topic == bindparam("about"),
        ESCALATION.c.closed_at.is_(None),
    )
)
_OVERDUE = Prepared(
    select(ESCALATION.c.id, ESCALATION.c.patient_id)
    .where(ESCALATION.c.closed_at.is_(None), ESCALATION.c.deadline_at <= bindparam("now"))
    .order_by(ESCALATION.c.deadline_at, ESCALATION.c.id)
    .limit(bindparam("most"))
)


def add_case(connection: Connection, case: Case, deadline: datetime | None) -> Case:
    """Store a new case with its first entry; the database refuses a second open one."""
    values = {
        "patient_id": case.patient,
        "topic": case.topic,
        "opened_at": case.opened.at,
        **_searched(case, deadline),
    }
    new_id = insert_one(connection, ESCALATION, values)
    stored = replace(case, id=new_id)
    _add_entries(connection, new_id, enumerate(case.entries))
    return stored


def save_case(
    connection: Connection, case: Case, entries_before: int, deadline: datetime | None
) -> None:
    """Add the entries that a case gained and bring the searched columns up to them."""
    update_row(connection, ESCALATION, case.id, _searched(case, deadline))
    _add_entries(connection, case.id, list(enumerate(case.entries))[entries_before:])


def _searched(case: Case, deadline: datetime | None) -> dict[str, Any]:
    return {
        "severity": case.severity,
        "standing": str(case.standing),
        "deadline_at": deadline,
        "closed_at": case.entries[-1].at if case.closed else None,
        "disposition": case.disposition and str(case.disposition),
    }


def _add_entries(
    connection: Connection, case_id: int, entries: Iterable[tuple[int, Entry]]
) -> None:
    rows = [
        {
            "escalation_id": case_id,
            "place": place,
            "step": str(entry.step),
            "at": entry.at,
            "who": entry.who,
            "note": entry.note,
            "words": entry.words,
            "reason": entry.reason,
            "severity": entry.severity,
            "detail": dict(entry.detail),
        }
        for place, entry in entries
    ]
    insert_rows(connection, ESCALATION_EVENT, rows)


def load_case(connection: Connection, case_id: int) -> Case:
    """One case with its whole log. Raises LookupError for an unknown id."""
    head = _HEAD.first(connection, {"case": case_id})
    if head is None:
        raise LookupError(f"No escalation with id {case_id}.")
    entries = tuple(entry(row) for row in _LOG.rows(connection, {"case": case_id}))
    return Case(head.patient_id, head.topic, entries, head.id)


def entry(row: Any) -> Entry:  # noqa: ANN401 - a row
    """A row of a case's log as a value."""
    return Entry(
        Step(row.step),
        row.at,
        row.who,
        row.note,
        row.words,
        row.reason,
        row.severity,
        row.detail,
    )


def open_case_of(connection: Connection, patient: int, topic: str) -> Case | None:
    """The patient's open case on a topic, if any."""
    found = _OPEN.first(connection, {"patient": patient, "about": topic})
    return load_case(connection, found.id) if found is not None else None


def open_cases(connection: Connection, patient: int | None = None) -> list[Case]:
    """Open cases, the most pressing deadline first."""
    query = select(ESCALATION.c.id).where(ESCALATION.c.closed_at.is_(None))
    if patient is not None:
        query = query.where(ESCALATION.c.patient_id == patient)
    ids = connection.execute(query.order_by(ESCALATION.c.deadline_at, ESCALATION.c.id)).scalars()
    return [load_case(connection, case_id) for case_id in ids.all()]


def all_cases(connection: Connection, patient: int | None = None) -> list[Case]:
    """Every case, open or closed, in the order of opening."""
    query = select(ESCALATION.c.id).order_by(ESCALATION.c.id)
    if patient is not None:
        query = query.where(ESCALATION.c.patient_id == patient)
    return [load_case(connection, case_id) for case_id in connection.execute(query).scalars().all()]


def put_off(connection: Connection, case: int, until: datetime) -> None:
    """Look at a case again at `until`, as it could not be read now."""
    update_row(connection, ESCALATION, case, {"deadline_at": until})


def overdue(connection: Connection, now: datetime, limit: int) -> list[tuple[int, int]]:
    """(case id, patient id) of open cases past the time allowed, the oldest first."""
    rows = _OVERDUE.rows(connection, {"now": now, "most": limit})
    return [(row.id, row.patient_id) for row in rows]
