"""What stands beside an escalation on a list, for many patients in a few statements."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, Select, and_, select

from bot.core.protocol import MedicineHold, Surgery
from bot.store.tables import COACH, CONTACT, HOLD, ITEM, PATIENT, SURGEON, SURGERY
from bot.store.worklist import TRIAL


@dataclass(slots=True)
class Beside:
    """One patient, as a list needs them."""

    patient: int
    reference: str
    name: str
    surgeon: str
    surgery: Surgery
    status: str
    revision: int
    phone: str = ""
    channel: str = ""
    coaches: list[tuple[str, str]] = field(default_factory=list)  # (name, address) of those joined
    holds: list[MedicineHold] = field(default_factory=list)
    done: list[str] = field(default_factory=list)

    @property
    def trial(self) -> bool:
        """True for a patient who is not real."""
        return self.channel == TRIAL


def besides(connection: Connection, patients: Iterable[int]) -> dict[int, Beside]:
    """These patients by id."""
    ids = sorted(set(patients))
    found = {row.id: _beside(row) for row in connection.execute(_people(ids))}
    for row in connection.execute(_contacts(ids)):
        _add_contact(found[row.patient_id], row)
    for row in connection.execute(select(HOLD).where(HOLD.c.patient_id.in_(ids))):
        hold = MedicineHold(row.medicine, row.last_dose_on, row.prescriber, row.instruction)
        found[row.patient_id].holds.append(hold)
    for row in connection.execute(_items(ids)):
        found[row.patient_id].done.append(row.name)
    return found


def _people(ids: Sequence[int]) -> Select[Any]:
    return (
        select(
            PATIENT.c.id,
            PATIENT.c.reference,
            PATIENT.c.name,
            SURGEON.c.name.label("surgeon"),
            SURGERY.c.joint,
            SURGERY.c.side,
            SURGERY.c.on_date,
            SURGERY.c.zone,
            SURGERY.c.starts_at,
            SURGERY.c.arrive_at,
            SURGERY.c.status,
            SURGERY.c.revision,
        )
        .join(SURGERY, SURGERY.c.patient_id == PATIENT.c.id)
        .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
        .where(PATIENT.c.id.in_(ids))
    )


def _beside(row: Row[Any]) -> Beside:
    surgery = Surgery(row.joint, row.side, row.on_date, row.zone, row.starts_at, row.arrive_at)
    return Beside(row.id, row.reference, row.name, row.surgeon, surgery, row.status, row.revision)


def _contacts(ids: Sequence[int]) -> Select[Any]:
    """Addresses, the patient's present one last (it overwrites the older ones)."""
    return (
        select(CONTACT, COACH.c.name, COACH.c.joined_at, COACH.c.left_at)
        .outerjoin(COACH, COACH.c.id == CONTACT.c.coach_id)
        .where(CONTACT.c.patient_id.in_(ids))
        .order_by(CONTACT.c.stopped_at.is_(None), CONTACT.c.wrong_at.is_(None), CONTACT.c.id)
    )


def _add_contact(person: Beside, row: Row[Any]) -> None:
    if row.coach_id is None:
        person.phone, person.channel = row.address, row.channel
    elif row.joined_at is not None and row.left_at is None:
        person.coaches.append((row.name, row.address))


def _items(ids: Sequence[int]) -> Select[Any]:
    """Washes that are done, of the surgery's present revision."""
    return (
        select(ITEM.c.patient_id, ITEM.c.name)
        .join(
            SURGERY,
            and_(
                SURGERY.c.patient_id == ITEM.c.patient_id, SURGERY.c.revision == ITEM.c.generation
            ),
        )
        .where(
            ITEM.c.patient_id.in_(ids),
            ITEM.c.value.in_(("done", "not_needed")),
            ITEM.c.name.like("wash\\_%", escape="\\"),
        )
        .order_by(ITEM.c.name)
    )
