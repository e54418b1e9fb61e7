"""Statements of the hot path: built and compiled once, and on SQLite run by the driver itself.

SQLAlchemy spends ten times as long on a small statement as SQLite does (docs/performance.md). So
what every reply needs is compiled once with SQLAlchemy's own compiler and types, and given to the
driver's connection inside the same transaction. On any other database SQLAlchemy runs it as usual.
"""

import json
import sqlite3
from collections import namedtuple
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from operator import itemgetter
from typing import Any

from sqlalchemy import JSON, Boolean, ColumnElement, Connection, Dialect, exc
from sqlalchemy.sql.expression import Select, UpdateBase
from sqlalchemy.types import TypeEngine

from bot.store.utc import Utc, instant_to_text, text_to_instant

Values = Mapping[str, Any]
Convert = Callable[[Any], Any]
_BOOLEANS = {0: False, 1: True}


@dataclass(frozen=True, slots=True)
class _Ready:
    """A statement as SQLite's driver takes it, and how values go in and come out."""

    sql: str
    fixed: Values
    given: Callable[[Values], tuple[Any, ...]]
    entering: tuple[tuple[int, Convert], ...]
    row: Callable[[Iterable[Any]], Any]
    leaving: tuple[tuple[int, Convert], ...]

    def values(self, told: Values) -> list[Any]:
        return _converted(self.given({**self.fixed, **told}), self.entering)

    def rows(self, found: Sequence[Sequence[Any]]) -> list[Any]:
        row, leaving = self.row, self.leaving
        return [row(_converted(one, leaving)) for one in found]


def _converted(cells: Iterable[Any], places: Iterable[tuple[int, Convert]]) -> list[Any]:
    changed = list(cells)
    for place, convert in places:
        changed[place] = convert(changed[place])
    return changed


class Prepared:
    """One statement. `columns` are those that an insert, or an update without values, is given."""

    def __init__(self, statement: Select[Any] | UpdateBase, columns: Sequence[str] = ()) -> None:
        self._statement = statement
        self._columns = list(columns) or None
        self._ready: _Ready | None = None

    def rows(self, connection: Connection, values: Values) -> Sequence[Any]:
        """Run it and give every row; a row has its columns as attributes."""
        if connection.dialect.name != "sqlite":
            return connection.execute(self._statement, dict(values)).all()
        ready = self._on_sqlite(connection)
        return ready.rows(_cursor(connection, ready.sql, ready.values(values)).fetchall())

    def first(self, connection: Connection, values: Values) -> Any | None:  # noqa: ANN401 - a row
        """Run it and give the first row, or None."""
        found = self.rows(connection, values)
        return found[0] if found else None

    def run(self, connection: Connection, values: Values) -> int:
        """Run it and say how many rows it touched."""
        if connection.dialect.name != "sqlite":
            return connection.execute(self._statement, dict(values)).rowcount
        ready = self._on_sqlite(connection)
        return _cursor(connection, ready.sql, ready.values(values)).rowcount

    def run_each(self, connection: Connection, many: Sequence[Values]) -> int:
        """Run it once for each of these values and say how many rows that touched."""
        if connection.dialect.name != "sqlite":
            return connection.execute(self._statement, [dict(values) for values in many]).rowcount
        ready = self._on_sqlite(connection)
        given = [ready.values(values) for values in many]
        return _cursor(connection, ready.sql, given, many=True).rowcount

    def _on_sqlite(self, connection: Connection) -> _Ready:
        if self._ready is None:
            self._ready = _ready(self._statement, self._columns, connection.dialect)
        return self._ready


def _cursor(
    connection: Connection, sql: str, values: Sequence[Any], *, many: bool = False
) -> sqlite3.Cursor:
    driver: Any = connection.connection.dbapi_connection
    try:
        cursor: sqlite3.Cursor = (driver.executemany if many else driver.execute)(sql, values)
    except sqlite3.Error as error:  # the same kinds of error as from any other statement
        kind = getattr(exc, type(error).__name__, exc.DatabaseError)
        raise kind(sql, None, error, hide_parameters=True) from error
    return cursor


def run_on_sqlite(connection: Connection, sql: str) -> None:
    """Run one statement that has no values and no result, on SQLite's own connection."""
    _cursor(connection, sql, ())


def must_be_open(connection: Connection) -> None:
    """Raise OperationalError when SQLite has undone the whole transaction by itself."""
    if connection.dialect.name != "sqlite":
        return
    driver: Any = connection.connection.dbapi_connection
    if not driver.in_transaction:
        fault = sqlite3.OperationalError("the transaction was undone; nothing of it was kept")
        raise exc.OperationalError(None, None, fault)


def _ready(
    statement: Select[Any] | UpdateBase, columns: list[str] | None, dialect: Dialect
) -> _Ready:
    compiled: Any = statement.compile(dialect=dialect, column_keys=columns)
    names = compiled.positiontup
    into = [_into(compiled.binds[name].type, dialect) for name in names]
    fixed = {name: bind.value for name, bind in compiled.binds.items() if not bind.required}
    fixed |= {column.key: column.default.arg for column in compiled.insert_prefetch}
    found: list[ColumnElement[Any]] = list(statement.exported_columns)
    return _Ready(
        sql=compiled.string,
        fixed=fixed,
        given=_getter(names),
        entering=_places(into),
        row=_row_of([str(column.key) for column in found]),
        leaving=_places([_out_of(column.type, dialect) for column in found]),
    )


def _getter(names: Sequence[str]) -> Callable[[Values], tuple[Any, ...]]:
    if len(names) > 1:
        return itemgetter(*names)
    return lambda told: tuple(told[name] for name in names)


def _places(converts: Sequence[Convert | None]) -> tuple[tuple[int, Convert], ...]:
    return tuple((place, convert) for place, convert in enumerate(converts) if convert)


def _row_of(names: Sequence[str]) -> Callable[[Iterable[Any]], Any]:
    """What makes a row of its cells; a row has its columns as attributes."""
    return partial(tuple.__new__, namedtuple("Row", names, rename=True))


def _into(kind: TypeEngine[Any], dialect: Dialect) -> Convert | None:
    if isinstance(kind, Utc):
        return instant_to_text
    if type(kind) is JSON:
        return _to_json
    return kind.dialect_impl(dialect).bind_processor(dialect)


def _out_of(kind: TypeEngine[Any], dialect: Dialect) -> Convert | None:
    if isinstance(kind, Utc):
        return text_to_instant
    if type(kind) is JSON:
        return _from_json
    if type(kind) is Boolean:
        return _BOOLEANS.get
    return kind.dialect_impl(dialect).result_processor(dialect, None)


def _to_json(value: object) -> str:
    return "[]" if value == [] else json.dumps(value)


def _from_json(text: str | float | None) -> Any:  # noqa: ANN401 - whatever was stored
    """SQLite takes a JSON column for a number's and keeps a bare number as one."""
    if not isinstance(text, str):
        return text
    return json.loads(text) if text.startswith(("[", "{")) else _scalar(text)


@lru_cache(maxsize=1024)  # most facts are "true", "false" or one of a few words
def _scalar(text: str) -> Any:  # noqa: ANN401 - whatever was stored
    return json.loads(text)
