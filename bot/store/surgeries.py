"""Surgeons' offices, their on-call lists, and the operations."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from bot.core.protocol import Surgery
from bot.core.record import OnCall, Operation
from bot.store.engine import insert_new, insert_one
from bot.store.prepared import Prepared
from bot.store.tables import ON_CALL, SURGEON, SURGERY

_SURGEON = Prepared(select(SURGEON.c.id).where(SURGEON.c.name == bindparam("surgeon")))
_OPERATION = Prepared(
    select(SURGERY, SURGEON.c.name.label("surgeon"))
    .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
    .where(SURGERY.c.patient_id == bindparam("patient"))
)

_ON_CALL = Prepared(
    select(ON_CALL)
    .join(SURGEON, SURGEON.c.id == ON_CALL.c.surgeon_id)
    .where(SURGEON.c.name == bindparam("surgeon"))
    .order_by(ON_CALL.c.rank)
)
_NURSE_DUE = Prepared(
    update(SURGERY)
    .where(SURGERY.c.id == bindparam("surgery"))
    .values(nurse_due=bindparam("nurse_due"))
)
_STARTS_MISSING = Prepared(
    select(SURGERY.c.patient_id)
    .where(
        SURGERY.c.status == "planned",
        SURGERY.c.starts_at.is_(None),
        SURGERY.c.nurse_due <= bindparam("now"),
    )
    .order_by(SURGERY.c.nurse_due, SURGERY.c.patient_id)
)


def surgeon_id(connection: Connection, name: str) -> int:
    """The id of a surgeon's office, adding it the first time."""
    found = _SURGEON.first(connection, {"surgeon": name})
    if found is None:
        insert_new(connection, SURGEON, {"name": name})  # another process may be as quick
        found = _SURGEON.rows(connection, {"surgeon": name})[0]
    known: int = found.id
    return known


def put_on_call(connection: Connection, surgeon: str, contacts: Sequence[OnCall]) -> None:
    """Replace a surgeon's on-call list; the first is told first."""
    office = surgeon_id(connection, surgeon)
    connection.execute(delete(ON_CALL).where(ON_CALL.c.surgeon_id == office))
    rows = [
        {
            "surgeon_id": office,
            "rank": rank,
            "name": contact.name,
            "channel": contact.channel,
            "address": contact.address,
        }
        for rank, contact in enumerate(contacts)
    ]
    if rows:
        connection.execute(insert(ON_CALL), rows)


def on_call(connection: Connection, surgeon: str) -> tuple[OnCall, ...]:
    """A surgeon's on-call list in order; empty when none was entered."""
    rows = _ON_CALL.rows(connection, {"surgeon": surgeon})
    return tuple(OnCall(row.name, row.channel, row.address) for row in rows)


def add_surgery(connection: Connection, patient: int, surgeon: str, surgery: Surgery) -> int:
    """Add the patient's operation."""
    values = {
        **_columns(surgery),
        "patient_id": patient,
        "surgeon_id": surgeon_id(connection, surgeon),
    }
    return insert_one(connection, SURGERY, values)


def operation_of(connection: Connection, patient: int) -> Operation:
    """The patient's operation. Raises LookupError when there is none."""
    row = _OPERATION.first(connection, {"patient": patient})
    if row is None:
        raise LookupError(f"Patient {patient} has no surgery on file. Enrol them first.")
    return operation(row)


def operation(row: Any) -> Operation:  # noqa: ANN401 - a row
    """A row of surgery, with the surgeon's name, as a value."""
    surgery = Surgery(row.joint, row.side, row.on_date, row.zone, row.starts_at, row.arrive_at)
    return Operation(
        row.id, row.patient_id, row.surgeon, surgery, row.status, row.revision, row.nurse_due
    )


def change_surgery(
    connection: Connection, operation: Operation, surgery: Surgery, status: str = "planned"
) -> None:
    """Store a changed operation as the next revision."""
    connection.execute(
        update(SURGERY)
        .where(SURGERY.c.id == operation.id)
        .values(**_columns(surgery), status=status, revision=operation.revision + 1)
    )


def correct_surgery(connection: Connection, operation: Operation, surgery: Surgery) -> None:
    """Store a corrected operation in the same revision: what was done stays done."""
    connection.execute(
        update(SURGERY).where(SURGERY.c.id == operation.id).values(**_columns(surgery))
    )


def set_nurse_due(connection: Connection, surgery: int, due: datetime | None) -> None:
    """Store by when the nurse must be told that the start time is missing."""
    _NURSE_DUE.run(connection, {"surgery": surgery, "nurse_due": due})


def put_off_nurse_due(connection: Connection, patient: int, until: datetime) -> None:
    """Look for a patient's missing start time again at `until`, as it could not be told now."""
    connection.execute(
        update(SURGERY)
        .where(SURGERY.c.patient_id == patient, SURGERY.c.nurse_due.is_not(None))
        .values(nurse_due=until)
    )


def starts_missing(connection: Connection, now: datetime) -> list[int]:
    """Patients whose start time is still unknown past the time when the nurse must be told."""
    return [row.patient_id for row in _STARTS_MISSING.rows(connection, {"now": now})]


def _columns(surgery: Surgery) -> dict[str, Any]:
    return {
        "joint": surgery.joint,
        "side": surgery.side,
        "on_date": surgery.on,
        "starts_at": surgery.starts_at,
        "arrive_at": surgery.arrive_at,
        "zone": surgery.zone,
    }
