"""The head of a patient's chart: what there is one of for each patient, in one statement."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, bindparam, select

from bot.core.record import Operation, PatientRecord
from bot.core.value import value
from bot.store.many import ForMany
from bot.store.prepared import Prepared
from bot.store.surgeries import operation
from bot.store.tables import COACH, CONVERSATION, HOLD, PATIENT, SURGEON, SURGERY

_PATIENT = [c for c in PATIENT.c if c is not PATIENT.c.id]
_HEADS = (
    select(*_PATIENT, SURGERY, SURGEON.c.name.label("surgeon"))
    .add_columns(CONVERSATION.c.body, CONVERSATION.c.version)
    .add_columns(
        select(HOLD.c.id).where(HOLD.c.patient_id == PATIENT.c.id).exists().label("has_holds"),
        select(COACH.c.id).where(COACH.c.patient_id == PATIENT.c.id).exists().label("has_coaches"),
    )
    .join(SURGERY, SURGERY.c.patient_id == PATIENT.c.id)
    .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
    .join(CONVERSATION, CONVERSATION.c.patient_id == PATIENT.c.id)
)
_HEAD = Prepared(_HEADS.where(PATIENT.c.id == bindparam("patient")))
_HEADS_OF_ALL = ForMany(PATIENT.c.id, _HEADS.where)


@value
class Head:
    """Patient, operation and stored chat. `holds`, `coaches`: whether there are any to read."""

    patient: PatientRecord
    operation: Operation
    body: str
    version: int
    holds: bool
    coaches: bool


def head_of(connection: Connection, patient: int) -> Head:
    """Read it. Raises LookupError, which says what is missing, for who is not enrolled."""
    row = _HEAD.first(connection, {"patient": patient})
    if row is None:
        raise LookupError(_missing(connection, patient))
    return _head(row)


def heads_of_all(connection: Connection, patients: Sequence[int]) -> dict[int, Head]:
    """Read those of many. Raises LookupError, as `head_of` does, if one of them is missing."""
    found = {row.patient_id: _head(row) for row in _HEADS_OF_ALL.rows(connection, patients)}
    for patient in patients:
        if patient not in found:
            raise LookupError(_missing(connection, patient))
    return found


def _head(row: Any) -> Head:  # noqa: ANN401 - a row
    return Head(
        patient=PatientRecord(
            row.patient_id, row.reference, row.name, row.born, row.enrolled_at, row.dawn_agreed
        ),
        operation=operation(row),
        body=row.body,
        version=row.version,
        holds=row.has_holds,
        coaches=row.has_coaches,
    )


def _missing(connection: Connection, patient: int) -> str:
    if connection.execute(select(PATIENT.c.id).where(PATIENT.c.id == patient)).first() is None:
        return f"No patient with id {patient} in the record."
    return f"Patient {patient} has no surgery or no conversation on file. Enrol them first."
