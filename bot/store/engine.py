"""Opens the database and its transactions, the same way on SQLite and PostgreSQL."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Engine,
    Table,
    bindparam,
    create_engine,
    event,
    insert,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.pool import StaticPool

from bot.core.same import Same
from bot.store.prepared import Prepared, must_be_open, run_on_sqlite

_BUSY_MS = 10_000  # how long a writer waits for another before it gives up
SQLITE_PRAGMAS = (
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",  # a commit that was acknowledged survives a power cut
    "PRAGMA foreign_keys=ON",
    f"PRAGMA busy_timeout={_BUSY_MS}",
)
POSTGRESQL_LIMITS = (  # a host that is gone holds no lock for longer than this (our choice)
    ("idle_in_transaction_session_timeout", "'30s'"),
    ("tcp_keepalives_idle", "10"),
    ("tcp_keepalives_interval", "5"),
    ("tcp_keepalives_count", "3"),
)


def open_engine(url: str) -> Engine:
    """Make an engine for an SQLAlchemy URL. Every connection gets its pragmas or time limits."""
    if not url.startswith("sqlite"):
        engine = create_engine(url, pool_pre_ping=True)
        event.listen(engine, "connect", _set_time_limits)
        return engine
    in_memory = url in ("sqlite://", "sqlite:///:memory:")
    pool: dict[str, Any] = {"poolclass": StaticPool} if in_memory else {}
    engine = create_engine(url, connect_args={"check_same_thread": False}, **pool)
    event.listen(engine, "connect", _set_pragmas)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_time_limits(dbapi_connection: Any, _record: object) -> None:  # noqa: ANN401 - any driver
    for setting, value in POSTGRESQL_LIMITS:
        dbapi_connection.execute(f"SET {setting} = {value}")
    dbapi_connection.commit()


def _set_pragmas(dbapi_connection: sqlite3.Connection, _record: object) -> None:
    dbapi_connection.isolation_level = None  # we say BEGIN ourselves
    for pragma in SQLITE_PRAGMAS:
        dbapi_connection.execute(pragma)


def _begin_sqlite(connection: Connection) -> None:
    # IMMEDIATE takes the write lock at once, so a transaction never fails half-way on an upgrade
    # from reader to writer. It also stands in for the row locks that SQLite does not have.
    mode = connection.get_execution_options().get("sqlite_begin", "IMMEDIATE")
    run_on_sqlite(connection, f"BEGIN {mode}")


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One write transaction: committed at the end, rolled back when anything is raised.

    Some faults (a full disk) make SQLite undo all of it by itself. Should whoever met one have gone
    on, nothing may look committed: that raises OperationalError.
    """
    with engine.connect() as connection, connection.begin():
        yield connection
        must_be_open(connection)


def need_not_last(connection: Connection) -> None:
    """Let the commit not wait for the disk: only if the database server itself fails is it lost.

    For what is done again without harm when it was forgotten. SQLite has nothing like it.
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SET LOCAL synchronous_commit = off")


@contextmanager
def apart(connection: Connection) -> Iterator[None]:
    """A part of a transaction that is undone alone when anything is raised in it."""
    if connection.dialect.name != "sqlite":
        with connection.begin_nested():
            yield
        return
    must_be_open(connection)
    run_on_sqlite(connection, "SAVEPOINT part")
    try:
        yield
    except BaseException:
        must_be_open(connection)
        run_on_sqlite(connection, "ROLLBACK TO part")
        run_on_sqlite(connection, "RELEASE part")
        raise
    run_on_sqlite(connection, "RELEASE part")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One consistent read; on SQLite it takes no write lock."""
    with _deferred(engine).begin() as connection:
        yield connection


@lru_cache(maxsize=4)
def _deferred(engine: Engine) -> Engine:
    return engine.execution_options(sqlite_begin="DEFERRED")  # making one costs more than using it


def insert_new(connection: Connection, table: Table, values: dict[str, Any]) -> int | None:
    """Insert a row unless a unique key refuses it; return its id, or None for a repeat."""
    row = _inserting(connection.dialect.name, table, tuple(values)).first(connection, values)
    return None if row is None else row[0]


def insert_row(connection: Connection, table: Table, values: dict[str, Any]) -> None:
    """Insert a row; a unique key that refuses it raises IntegrityError."""
    _plainly(table, tuple(values)).run(connection, values)


def insert_one(connection: Connection, table: Table, values: dict[str, Any]) -> int:
    """Insert a row and return its id; a unique key that refuses it raises IntegrityError."""
    new_id: int = _numbered(table, tuple(values)).rows(connection, values)[0][0]
    return new_id


def update_row(connection: Connection, table: Table, row: int, values: dict[str, Any]) -> None:
    """Change columns of the row with this id."""
    given = {f"new_{name}": value for name, value in values.items()}
    _changing(table, tuple(values)).run(connection, {"row": row, **given})


def insert_rows(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """Insert rows that all have the same columns."""
    if rows:
        _plainly(table, tuple(rows[0])).run_each(connection, rows)


def insert_new_rows(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """Insert rows that all have the same columns, but for those that a unique key refuses."""
    if rows:
        _adding(connection.dialect.name, table, tuple(rows[0])).run_each(connection, rows)


def upsert(
    connection: Connection, table: Table, values: dict[str, Any], unique: tuple[str, ...]
) -> None:
    """Insert a row, or overwrite the one that has the same `unique` columns."""
    changed = tuple(name for name in values if name not in unique)
    _upserting(connection.dialect.name, table, unique, changed).run(connection, values)


def upsert_rows(
    connection: Connection,
    table: Table,
    rows: list[dict[str, Any]],
    unique: tuple[str, ...],
    over: Same[ColumnElement[bool]],
) -> None:
    """Insert rows that all have the same columns; one on file is overwritten if `over` holds."""
    if rows:
        changed = tuple(name for name in rows[0] if name not in unique)
        made = _upserting(connection.dialect.name, table, unique, changed, over)
        made.run_each(connection, rows)


@lru_cache(maxsize=256)
def _plainly(table: Table, columns: tuple[str, ...]) -> Prepared:
    return Prepared(insert(table), columns)


@lru_cache(maxsize=256)
def _numbered(table: Table, columns: tuple[str, ...]) -> Prepared:
    return Prepared(insert(table).returning(_key(table)), columns)


@lru_cache(maxsize=256)
def _changing(table: Table, columns: tuple[str, ...]) -> Prepared:
    fresh: dict[str, Any] = {name: bindparam(f"new_{name}") for name in columns}
    return Prepared(update(table).where(_key(table) == bindparam("row")).values(fresh))


def _key(table: Table) -> Column[Any]:
    return next(iter(table.primary_key.columns))


@lru_cache(maxsize=256)
def _inserting(dialect: str, table: Table, columns: tuple[str, ...]) -> Prepared:
    made = sqlite.insert if dialect == "sqlite" else postgresql.insert
    return Prepared(made(table).on_conflict_do_nothing().returning(_key(table)), columns)


@lru_cache(maxsize=256)
def _adding(dialect: str, table: Table, columns: tuple[str, ...]) -> Prepared:
    made = sqlite.insert if dialect == "sqlite" else postgresql.insert
    return Prepared(made(table).on_conflict_do_nothing(), columns)


@lru_cache(maxsize=256)
def _upserting(
    dialect: str,
    table: Table,
    unique: tuple[str, ...],
    changed: tuple[str, ...],
    over: Same[ColumnElement[bool]] | None = None,
) -> Prepared:
    made = sqlite.insert if dialect == "sqlite" else postgresql.insert
    statement = made(table)
    fresh = {name: statement.excluded[name] for name in changed}
    updating = statement.on_conflict_do_update(
        index_elements=list(unique), set_=fresh, where=over.it if over else None
    )
    return Prepared(updating, unique + changed)
