"""Messages in: each takes effect once, with the reading that it was given."""

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select, update

from bot.core.record import ThreadLine
from bot.reading.reading import Reading
from bot.store.engine import insert_new
from bot.store.tables_log import INBOUND, READING


def put_inbound(connection: Connection, values: dict[str, Any]) -> int | None:
    """Store one message as it came; None when the provider gave it before."""
    return insert_new(connection, INBOUND, values)


def put_reading(connection: Connection, inbound: int, asked: str, reading: Reading) -> None:
    """Store how the message was understood, and because of which words.

    A message that is read for several people, who share a phone, keeps its first reading.
    """
    values = {
        "inbound_id": inbound,
        "asked": asked,
        "act": str(reading.act),
        "also": [str(act) for act in reading.also],
        "symptoms": [str(symptom) for symptom in reading.symptoms],
        "alert": reading.alert,
        "because": list(reading.because),
    }
    insert_new(connection, READING, values)


def give_to(connection: Connection, inbound: int, patient: int, role: str) -> None:
    """Put a message into the thread of the person whom it turned out to be about."""
    connection.execute(
        update(INBOUND).where(INBOUND.c.id == inbound).values(patient_id=patient, by_role=role)
    )


def inbound_lines(connection: Connection, patient: int | None = None) -> list[ThreadLine]:
    """What people wrote, with how it was read; one patient's or everybody's."""
    query = (
        select(INBOUND, READING.c.act, READING.c.because, READING.c.asked)
        .add_columns(READING.c.also, READING.c.symptoms)
        .outerjoin(READING, READING.c.inbound_id == INBOUND.c.id)
    )
    if patient is not None:
        query = query.where(INBOUND.c.patient_id == patient)
    rows = connection.execute(query.order_by(INBOUND.c.handled_at, INBOUND.c.id))
    return [
        ThreadLine(
            at=row.handled_at,
            who=row.by_role,
            to="coach bot",
            text=row.text,
            state=row.act or "",
            detail={
                "because": "; ".join(row.because or ()),
                "address": row.address,
                "asked": row.asked or "",
                "also": ", ".join((*(row.also or ()), *(row.symptoms or ()))),
            },
        )
        for row in rows
    ]


def heard_before(
    connection: Connection, patient: int, address: str, text: str, since: datetime, before: int
) -> bool:
    """True when this address sent the very same text between `since` and message `before`."""
    query = select(INBOUND.c.id).where(
        INBOUND.c.patient_id == patient,  # whose index finds it
        INBOUND.c.address == address,
        INBOUND.c.text == text,
        INBOUND.c.handled_at >= since,
        INBOUND.c.id < before,
    )
    return connection.execute(query.limit(1)).scalar() is not None


def last_heard(connection: Connection, patient: int) -> datetime | None:
    """When the patient last wrote."""
    query = (
        select(INBOUND.c.handled_at)
        .where(INBOUND.c.patient_id == patient, INBOUND.c.by_role == "patient")
        .order_by(INBOUND.c.id.desc())
        .limit(1)
    )
    heard: datetime | None = connection.execute(query).scalar()
    return heard
