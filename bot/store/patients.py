"""Patients, their addresses, facts and medicine holds."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    BindParameter,
    Connection,
    Integer,
    Update,
    bindparam,
    delete,
    func,
    select,
    update,
)

from bot.core.protocol import FactValue, MedicineHold
from bot.core.record import Party
from bot.core.sharing import Person
from bot.store.engine import insert_new, upsert
from bot.store.prepared import Prepared
from bot.store.tables import COACH, CONTACT, FACT, HOLD, PATIENT

_WHO: BindParameter[int] = bindparam("patient", type_=Integer)
_LOCK = select(PATIENT.c.id).where(PATIENT.c.id == _WHO).with_for_update()
_LOCK_IF_FREE = select(PATIENT.c.id).where(PATIENT.c.id == _WHO).with_for_update(skip_locked=True)
_FACTS = Prepared(select(FACT.c.name, FACT.c.value).where(FACT.c.patient_id == _WHO))
_HOLDS = Prepared(select(HOLD).where(HOLD.c.patient_id == _WHO).order_by(HOLD.c.last_dose_on))
_PEOPLE = Prepared(
    select(CONTACT, PATIENT.c.name.label("patient_name"), COACH.c.name.label("coach_name"))
    .join(PATIENT, PATIENT.c.id == CONTACT.c.patient_id)
    .outerjoin(COACH, COACH.c.id == CONTACT.c.coach_id)
    .where(CONTACT.c.channel == bindparam("channel"), CONTACT.c.address == bindparam("address"))
    .order_by(CONTACT.c.place)
)
_OWN_ADDRESS = Prepared(
    select(CONTACT)
    .where(CONTACT.c.patient_id == _WHO, CONTACT.c.coach_id.is_(None))
    .order_by(CONTACT.c.stopped_at.isnot(None), CONTACT.c.wrong_at.isnot(None))
    .order_by(CONTACT.c.id.desc())
    .limit(1)
)
_SET_DAWN = Prepared(
    update(PATIENT).where(PATIENT.c.id == _WHO).values(dawn_agreed=bindparam("agreed"))
)


class AddressTaken(ValueError):
    """The address already belongs to another person in the record."""


def add_patient(
    connection: Connection,
    reference: str,
    name: str,
    born: date | None,
    enrolled_at: datetime,
    dawn_agreed: bool,
) -> int | None:
    """Add a patient; None when the reference is already enrolled."""
    values = {
        "reference": reference,
        "name": name,
        "born": born,
        "enrolled_at": enrolled_at,
        "dawn_agreed": dawn_agreed,
    }
    return insert_new(connection, PATIENT, values)


def lock(connection: Connection, patient: int) -> None:
    """Make this transaction the only one that moves the patient (on SQLite BEGIN did it)."""
    if connection.dialect.name != "sqlite":
        connection.execute(_LOCK, {"patient": patient})


def lock_if_free(connection: Connection, patient: int) -> bool:
    """Lock the patient as `lock` does, unless somebody else has them; say whether it did."""
    if connection.dialect.name == "sqlite":
        return True
    return connection.execute(_LOCK_IF_FREE, {"patient": patient}).first() is not None


def patient_by_reference(connection: Connection, reference: str) -> int | None:
    """The id of the patient with the hospital's own reference."""
    query = select(PATIENT.c.id).where(PATIENT.c.reference == reference)
    found: int | None = connection.execute(query).scalar()
    return found


def all_patients(connection: Connection) -> list[int]:
    """Every patient's id, in order of enrolment."""
    return list(connection.execute(select(PATIENT.c.id).order_by(PATIENT.c.id)).scalars())


def set_dawn_agreed(connection: Connection, patient: int, agreed: bool) -> None:
    """Store whether time-critical prompts may come in quiet hours."""
    _SET_DAWN.run(connection, {"patient": patient, "agreed": agreed})


def add_contact(
    connection: Connection,
    patient: int,
    channel: str,
    address: str,
    coach: int | None = None,
    *,
    shared: bool = False,
) -> None:
    """Give a patient or a coach an address.

    Raises AddressTaken if it is somebody else's, unless staff said that they share it (`shared`).
    """
    values = {"channel": channel, "address": address, "patient_id": patient, "coach_id": coach}
    if insert_new(connection, CONTACT, {**values, "place": 0}) is not None:
        return
    people = people_at(connection, channel, address)
    if any((each.party.patient, each.party.coach) == (patient, coach) for each in people):
        return
    place = _next_place(connection, channel, address)
    if not shared or insert_new(connection, CONTACT, {**values, "place": place}) is None:
        raise AddressTaken(
            f"The {channel} address is already on file for another person. Ask both which"
            " of them reads it, and enter another address for one of them."
        )


def _next_place(connection: Connection, channel: str, address: str) -> int:
    query = select(func.max(CONTACT.c.place)).where(
        CONTACT.c.channel == channel, CONTACT.c.address == address
    )
    last: int = connection.execute(query).scalar_one()
    return last + 1


def people_at(connection: Connection, channel: str, address: str) -> tuple[Person, ...]:
    """Everyone behind an address, the first on file first; several only where staff allowed it."""
    rows = _PEOPLE.rows(connection, {"channel": channel, "address": address})
    return tuple(map(_person, rows))


def _person(row: Any) -> Person:  # noqa: ANN401 - a row
    stopped = row.stopped_at is not None or row.wrong_at is not None
    party = Party(row.patient_id, row.channel, row.address, row.coach_id, stopped)
    if row.coach_id is None:
        return Person(party, row.patient_name)
    return Person(party, row.coach_name, row.patient_name)


def find_party(connection: Connection, channel: str, address: str) -> Party | None:
    """Who is behind an address, or None for a stranger; of several, the first on file."""
    people = people_at(connection, channel, address)
    return people[0].party if people else None


def address_of(connection: Connection, patient: int) -> Party | None:
    """The patient's own address that messages go to: the newest that is not stopped or wrong."""
    row = _OWN_ADDRESS.first(connection, {"patient": patient})
    if row is None:
        return None
    stopped = row.stopped_at is not None or row.wrong_at is not None
    return Party(patient, row.channel, row.address, None, stopped)


def stop_address(connection: Connection, party: Party, now: datetime, *, wrong: bool) -> None:
    """Nothing more goes to this person there: they opted out, or it is a wrong number."""
    column = {"wrong_at": now} if wrong else {"stopped_at": now}
    connection.execute(_at(party).values(**column))


def reopen_address(connection: Connection, party: Party) -> None:
    """Messages may go to this person at this address again."""
    connection.execute(_at(party).values(stopped_at=None, wrong_at=None))


def _at(party: Party) -> Update:
    return update(CONTACT).where(
        CONTACT.c.channel == party.channel,
        CONTACT.c.address == party.address,
        CONTACT.c.patient_id == party.patient,
        CONTACT.c.coach_id.is_not_distinct_from(party.coach),
    )


def learn_fact(
    connection: Connection, patient: int, name: str, value: FactValue, source: str, now: datetime
) -> None:
    """Store one fact, replacing what was known."""
    values = {"patient_id": patient, "name": name, "value": value, "source": source, "at": now}
    upsert(connection, FACT, values, ("patient_id", "name"))


def facts_of(connection: Connection, patient: int) -> dict[str, FactValue]:
    """All that is known about the patient."""
    return {row.name: row.value for row in _FACTS.rows(connection, {"patient": patient})}


def put_hold(connection: Connection, patient: int, hold: MedicineHold) -> None:
    """Store a medicine hold, replacing the one for the same medicine."""
    values = {
        "patient_id": patient,
        "medicine": hold.medicine,
        "last_dose_on": hold.last_dose_on,
        "last_dose_at": hold.last_dose_at,
        "prescriber": hold.prescriber,
        "instruction": hold.instruction,
    }
    upsert(connection, HOLD, values, ("patient_id", "medicine"))


def drop_holds(connection: Connection, patient: int, medicines: Sequence[str]) -> None:
    """Take medicine holds off the record: their dates belong to a surgery that moved."""
    connection.execute(
        delete(HOLD).where(HOLD.c.patient_id == patient, HOLD.c.medicine.in_(medicines))
    )


def holds_of(connection: Connection, patient: int) -> tuple[MedicineHold, ...]:
    """The medicines that a prescriber told the patient to stop, by last dose."""
    return tuple(
        MedicineHold(
            row.medicine, row.last_dose_on, row.prescriber, row.instruction, row.last_dose_at
        )
        for row in _HOLDS.rows(connection, {"patient": patient})
    )
