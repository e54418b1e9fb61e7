"""What the audit may look at: the record's logs, the provider's log and the phones' own logs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, Engine, Table, select

from bot.core.protocol import Rules
from bot.simulate.clinic import Clinic, Written
from bot.simulate.network import Taken
from bot.store.engine import reading
from bot.store.tables import CONTACT, PROMPT, SURGERY
from bot.store.tables_log import ESCALATION, ESCALATION_EVENT, INBOUND, OUTBOUND, READING

Line = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Evidence:
    """All of it, in the order of the database's ids and of the logs."""

    end: datetime
    rules: Rules
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
        clinic.clock.true, clinic.app.practice.rules, tuple(clinic.written),
        tuple(clinic.network.taken), *tables,
    )  # fmt: skip


def _read(engine: Engine) -> tuple[tuple[Line, ...], ...]:
    tables = (
        INBOUND, OUTBOUND, READING, ESCALATION, ESCALATION_EVENT, PROMPT, SURGERY, CONTACT,
    )  # fmt: skip
    with reading(engine) as connection:
        return tuple(_lines(connection, table) for table in tables)


def _lines(connection: Connection, table: Table) -> tuple[Line, ...]:
    key = next(iter(table.primary_key.columns))
    return tuple(dict(row._mapping) for row in connection.execute(select(table).order_by(key)))
