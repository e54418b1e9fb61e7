"""What the audit may look at: the record's logs, the provider's log and the phones' own logs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, select

from bot.core.protocol import Rules
from bot.simulate.clinic import Clinic, Span, Written
from bot.simulate.network import Taken
from bot.simulate.office import Moved
from bot.simulate.people import Person
from bot.store.engine import reading
from bot.store.tables import COACH, CONSENT, CONTACT, FACT, ITEM, PATIENT, PROMPT, SURGERY
from bot.store.tables_log import AUDIT, ESCALATION, ESCALATION_EVENT, INBOUND, OUTBOUND, READING

Line = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Evidence:
    """All of it, in the order of the database's ids and of the logs."""

    end: datetime
    rules: Rules
    flows: Path  # the content that was played, for whoever reads it anew
    faults: frozenset[str]
    stuck: tuple[str, ...]
    spans: tuple[Span, ...]
    moved: Mapping[str, tuple[Moved, ...]]  # by the hospital's reference
    people: Mapping[str, Person]  # by the hospital's reference
    written: tuple[Written, ...]
    taken: tuple[Taken, ...]
    inbound: tuple[Line, ...]
    outbound: tuple[Line, ...]
    readings: tuple[Line, ...]
    cases: tuple[Line, ...]
    entries: tuple[Line, ...]
    prompts: tuple[Line, ...]
    surgeries: tuple[Line, ...]
    contacts: tuple[Line, ...]
    patients: tuple[Line, ...]
    coaches: tuple[Line, ...]
    consents: tuple[Line, ...]
    facts: tuple[Line, ...]
    items: tuple[Line, ...]
    acts: tuple[Line, ...]

    @property
    def addresses(self) -> dict[str, tuple[int, int | None]]:
        """Whose each address is: the patient, and the coach of theirs or None."""
        return {row["address"]: (row["patient_id"], row["coach_id"]) for row in self.contacts}

    def fingerprint(self) -> str:
        """One hash over everything that happened, the same for the same run."""
        logs: Iterable[Iterable[object]] = (
            self.written, self.taken, self.inbound, self.outbound, self.readings, self.entries,
            self.prompts,
        )  # fmt: skip
        digest = sha256()
        for log in logs:
            for line in log:
                digest.update(repr(line).encode())
        return digest.hexdigest()


def gather(clinic: Clinic) -> Evidence:
    """Read all logs of a run that has ended."""
    tables = _read(clinic.app.engine)
    return Evidence(
        clinic.clock.true, clinic.app.practice.rules, clinic.app.flows, clinic.trouble.names,
        tuple(clinic.stuck), tuple(clinic.spans),
        {reference: tuple(moves) for reference, moves in clinic.office.moved.items()},
        {person.wish().reference: person for person in clinic.people.values()},
        tuple(clinic.written), tuple(clinic.network.taken), *tables,
    )  # fmt: skip


def _read(engine: Engine) -> tuple[tuple[Line, ...], ...]:
    tables = (
        INBOUND, OUTBOUND, READING, ESCALATION, ESCALATION_EVENT, PROMPT, SURGERY, CONTACT,
        PATIENT, COACH, CONSENT, FACT, ITEM, AUDIT,
    )  # fmt: skip
    with reading(engine) as connection:
        return tuple(_lines(connection, table) for table in tables)


def _lines(connection: Connection, table: Table) -> tuple[Line, ...]:
    key = next(iter(table.primary_key.columns))
    return tuple(dict(row._mapping) for row in connection.execute(select(table).order_by(key)))
