"""Messages to and from one patient's people within a span of time."""

from datetime import datetime

from sqlalchemy import Connection, func, select

from bot.core.record import ThreadLine
from bot.store.tables_log import INBOUND, OUTBOUND, READING

_MOST = 300


def lines_around(
    connection: Connection, patient: int, since: datetime, until: datetime | None
) -> list[ThreadLine]:
    """What was said from `since` on, up to `until` if there is one; the nurse's notices are not
    among it. Messages out stand at the moment when they were sent."""
    return [
        *_heard(connection, patient, since, until),
        *_sent(connection, patient, since, until),
    ]


def _heard(
    connection: Connection, patient: int, since: datetime, until: datetime | None
) -> list[ThreadLine]:
    query = (
        select(INBOUND, READING.c.act, READING.c.because)
        .outerjoin(READING, READING.c.inbound_id == INBOUND.c.id)
        .where(INBOUND.c.patient_id == patient, INBOUND.c.handled_at >= since)
        .order_by(INBOUND.c.id)
        .limit(_MOST)
    )
    if until is not None:
        query = query.where(INBOUND.c.handled_at <= until)
    return [
        ThreadLine(
            at=row.handled_at,
            who=row.by_role,
            to="coach bot",
            text=row.text,
            state=row.act or "",
            detail={"because": "; ".join(row.because or ())},
        )
        for row in connection.execute(query)
    ]


def _sent(
    connection: Connection, patient: int, since: datetime, until: datetime | None
) -> list[ThreadLine]:
    query = (
        select(OUTBOUND)
        .where(
            OUTBOUND.c.patient_id == patient,
            OUTBOUND.c.to_role != "nurse",
            func.coalesce(OUTBOUND.c.changed_at, OUTBOUND.c.queued_at) >= since,
        )
        .order_by(OUTBOUND.c.id)
        .limit(_MOST)
    )
    if until is not None:
        query = query.where(OUTBOUND.c.queued_at <= until)
    return [
        ThreadLine(
            at=row.changed_at if row.state == "sent" else row.queued_at,
            who="coach bot",
            to=row.to_role,
            text=row.text,
            choices=tuple(row.choices),
            state=row.state,
            detail={"name": row.name, "reason": row.reason},
        )
        for row in connection.execute(query)
    ]
