"""What a nurse reads about one patient: facts with their source, consents, the countdown."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from bot.store.links import is_waiting
from bot.store.tables import CONSENT, CONTACT, FACT, PROMPT, SURGERY


@dataclass(frozen=True, slots=True)
class FactTold:
    """One fact, who told it, and when."""

    name: str
    value: Any
    source: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ConsentGiven:
    """One answer to a question of consent. `coach` is the id of the coach who gave it."""

    scope: str
    given: bool
    wording: str
    language: str
    at: datetime
    coach: int | None


@dataclass(frozen=True, slots=True)
class Address:
    """One address of the patient's own."""

    channel: str
    address: str
    stopped: bool
    wrong: bool

    @property
    def waiting(self) -> bool:
        """True while the patient has not opened the chat by their link."""
        return is_waiting(self.address)


@dataclass(frozen=True, slots=True)
class Dated:
    """One message of the countdown with what became of it. `items` are what it asks about."""

    flows: tuple[tuple[str, str], ...]  # (flow, medicine or number that it is about)
    items: tuple[str, ...]
    to: str
    due: datetime
    closes: datetime
    state: str
    priority: str
    reason: str
    changed_at: datetime


def facts_told(connection: Connection, patient: int) -> list[FactTold]:
    """All that is known, by name."""
    query = select(FACT).where(FACT.c.patient_id == patient).order_by(FACT.c.name)
    return [FactTold(r.name, r.value, r.source, r.at) for r in connection.execute(query)]


def consents_of(connection: Connection, patient: int) -> list[ConsentGiven]:
    """Every answer, the last first."""
    query = select(CONSENT).where(CONSENT.c.patient_id == patient).order_by(CONSENT.c.id.desc())
    return [
        ConsentGiven(r.scope, r.given, r.wording, r.language, r.at, r.coach_id)
        for r in connection.execute(query)
    ]


def addresses_of(connection: Connection, patient: int) -> list[Address]:
    """The patient's own addresses, the newest first."""
    query = (
        select(CONTACT)
        .where(CONTACT.c.patient_id == patient, CONTACT.c.coach_id.is_(None))
        .order_by(CONTACT.c.id.desc())
    )
    return [
        Address(r.channel, r.address, r.stopped_at is not None, r.wrong_at is not None)
        for r in connection.execute(query)
    ]


def countdown_of(connection: Connection, patient: int) -> list[Dated]:
    """What is planned for the surgery as it stands, and whatever was sent, in order of time."""
    query = (
        select(PROMPT)
        .join(SURGERY, SURGERY.c.id == PROMPT.c.surgery_id)
        .where(
            PROMPT.c.patient_id == patient,
            (PROMPT.c.generation == SURGERY.c.revision) | (PROMPT.c.state == "sent"),
            PROMPT.c.state != "cancelled",
        )
        .order_by(PROMPT.c.due, PROMPT.c.id)
    )
    return [_dated(row) for row in connection.execute(query)]


def _dated(row: Any) -> Dated:  # noqa: ANN401 - a row
    about = [p["values"].get("medicine") or p["values"].get("n") or "" for p in row.parts]
    return Dated(
        flows=tuple((p["flow"], a) for p, a in zip(row.parts, about, strict=True)),
        items=tuple(p["item"] for p in row.parts if p.get("item")),
        to=row.to_role,
        due=row.due,
        closes=row.closes,
        state=row.state,
        priority=row.priority,
        reason=row.reason,
        changed_at=row.changed_at,
    )
