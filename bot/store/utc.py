"""Column types that keep instants in UTC and values in JSON."""

from datetime import UTC, datetime
from functools import lru_cache

from sqlalchemy import DateTime, Dialect
from sqlalchemy.types import TypeDecorator


class Utc(TypeDecorator[datetime]):
    """An instant. Refuses naive datetimes; gives back timezone-aware UTC on every database.

    SQLite keeps no zone and PostgreSQL answers in the session's zone, so both directions convert.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an aware datetime into UTC; raise ValueError for a naive one."""
        if value is None:
            return None
        at = _in_utc(value)
        return at.replace(tzinfo=None) if dialect.name == "sqlite" else at

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the instant back as aware UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _in_utc(value: datetime) -> datetime:
    if value.tzinfo is UTC:
        return value
    if value.tzinfo is None:
        raise ValueError(f"{value!r} has no time zone. Store instants as aware datetimes.")
    return value.astimezone(UTC)


def instant_to_text(value: datetime | None) -> str | None:
    """The very text that SQLAlchemy keeps in SQLite for a `Utc` column, in a tenth of the time."""
    if value is None:
        return None
    return _utc_to_text(_in_utc(value))


@lru_cache(maxsize=4096)  # a turn writes its `now` several times; in UTC what is equal is the same
def _utc_to_text(value: datetime) -> str:
    return value.isoformat(" ", "microseconds")[:26]


def text_to_instant(text: str | None) -> datetime | None:
    """A `Utc` column of SQLite as aware UTC."""
    return None if text is None else datetime.fromisoformat(text + "+00:00")
