"""Support persons, with the level of copies that the patient consented to."""

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, select, update

from bot.core.copies import CopyLevel
from bot.core.record import CoachRecord
from bot.store.engine import insert_one
from bot.store.links import is_waiting
from bot.store.prepared import Prepared
from bot.store.tables import COACH, CONTACT

_COACHES = Prepared(
    select(COACH, CONTACT.c.channel, CONTACT.c.address)
    .add_columns(CONTACT.c.stopped_at, CONTACT.c.wrong_at)
    .join(CONTACT, CONTACT.c.coach_id == COACH.c.id)
    .where(COACH.c.patient_id == bindparam("patient"))
    .order_by(COACH.c.id)
)
_SET_LEVEL = Prepared(
    update(COACH).where(COACH.c.patient_id == bindparam("patient")).values(level=bindparam("level"))
)


def add_coach(
    connection: Connection, patient: int, name: str, level: CopyLevel, language: str
) -> int:
    """Add an invited coach. Nothing but the invitation goes to them until they join."""
    values = {"patient_id": patient, "name": name, "level": level, "language": language}
    return insert_one(connection, COACH, values)


def coaches_of(connection: Connection, patient: int) -> tuple[CoachRecord, ...]:
    """All the patient's coaches, in the order of their invitation."""
    return tuple(_record(row) for row in _COACHES.rows(connection, {"patient": patient}))


def _record(row: Any) -> CoachRecord:  # noqa: ANN401 - a row
    return CoachRecord(
        id=row.id,
        patient=row.patient_id,
        name=row.name,
        level=CopyLevel(row.level),
        language=row.language,
        joined_at=row.joined_at,
        left_at=row.left_at,
        channel=row.channel,
        address=row.address,
        stopped=row.stopped_at is not None or row.wrong_at is not None,
        waiting=is_waiting(row.address),
    )


def join(connection: Connection, coach: int, now: datetime) -> None:
    """The coach agreed by their own reply."""
    connection.execute(update(COACH).where(COACH.c.id == coach).values(joined_at=now, left_at=None))


def leave(connection: Connection, coach: int, now: datetime) -> None:
    """The coach opted out, or the patient took back their consent."""
    connection.execute(update(COACH).where(COACH.c.id == coach).values(left_at=now))


def set_level(connection: Connection, patient: int, level: CopyLevel) -> None:
    """The patient changed what their coaches may see."""
    _SET_LEVEL.run(connection, {"patient": patient, "level": level})


def set_language(connection: Connection, coach: int, language: str) -> None:
    """The coach chose a language."""
    connection.execute(update(COACH).where(COACH.c.id == coach).values(language=language))
