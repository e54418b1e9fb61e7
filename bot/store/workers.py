"""The processes that work on this store: who they are and when each last gave a sign of life.

On PostgreSQL the database's clock dates the signs, so that hosts whose clocks differ agree on who
is alive.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, func, insert, select, update

from bot.store.tables_log import WORKER


@dataclass(frozen=True, slots=True)
class Worker:
    """One process. `roles` in the words of `countdown serve --role`."""

    id: int
    host: str
    process: int
    roles: tuple[str, ...]
    started_at: datetime
    beat_at: datetime


def moment(connection: Connection, now: datetime) -> datetime:
    """The time by which the signs of life go: the server's, or on SQLite our own."""
    if connection.dialect.name == "sqlite":
        return now
    at: datetime = connection.execute(select(func.clock_timestamp())).scalar_one()
    return at


def add(
    connection: Connection, host: str, process: int, roles: Iterable[str], now: datetime
) -> int:
    """Write a process down; return its id."""
    at = moment(connection, now)
    who = {"host": host, "process": process, "roles": ",".join(sorted(roles))}
    values = {**who, "started_at": at, "beat_at": at}
    new_id: int = connection.execute(
        insert(WORKER).values(values).returning(WORKER.c.id)
    ).scalar_one()
    return new_id


def beat(connection: Connection, worker: int, now: datetime) -> bool:
    """A sign of life; False when the worker is not written down any more."""
    at = moment(connection, now)
    statement = update(WORKER).where(WORKER.c.id == worker).values(beat_at=at)
    return connection.execute(statement).rowcount == 1


def remove(connection: Connection, worker: int) -> None:
    """The process ended in order."""
    connection.execute(delete(WORKER).where(WORKER.c.id == worker))


def forget(connection: Connection, before: datetime) -> None:
    """Drop those whose last sign of life is older than this."""
    connection.execute(delete(WORKER).where(WORKER.c.beat_at < before))


def workers(connection: Connection) -> list[Worker]:
    """Everyone who is written down, dead or alive, in the order in which they began."""
    return [
        Worker(r.id, r.host, r.process, tuple(r.roles.split(",")), r.started_at, r.beat_at)
        for r in connection.execute(select(WORKER).order_by(WORKER.c.id))
    ]
