"""Who did what to which patient, when. Only ever added to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from bot.store.engine import insert_row
from bot.store.tables_log import AUDIT


def note(
    connection: Connection,
    who: str,
    what: str,
    patient: int | None,
    now: datetime,
    detail: Mapping[str, Any] | None = None,
) -> None:
    """Add one line to the audit log. `detail` holds ids and settings, never a patient's words."""
    values = {"at": now, "who": who, "what": what, "patient_id": patient}
    insert_row(connection, AUDIT, {**values, "detail": dict(detail or {})})


def notes_on(connection: Connection, patient: int) -> list[tuple[datetime, str, str]]:
    """(when, who, what) of everything done to one patient's record."""
    query = select(AUDIT).where(AUDIT.c.patient_id == patient).order_by(AUDIT.c.id)
    return [(row.at, row.who, row.what) for row in connection.execute(query)]
