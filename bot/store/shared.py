"""Texts from shared phones that wait to be told whom they are about."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, bindparam, func, select, update

from bot.core.record import Party
from bot.store.engine import insert_new
from bot.store.prepared import Prepared
from bot.store.tables_reach import KEPT_TEXT

_EXPIRED = Prepared(
    select(
        KEPT_TEXT.c.channel,
        KEPT_TEXT.c.address,
        func.min(KEPT_TEXT.c.inbound_id).label("first"),
    )
    .where(KEPT_TEXT.c.closed_at.is_(None), KEPT_TEXT.c.expires_at <= bindparam("now"))
    .group_by(KEPT_TEXT.c.channel, KEPT_TEXT.c.address)
    .limit(bindparam("most"))
)


@dataclass(frozen=True, slots=True)
class Kept:
    """One text that waits. `people` are those whom the question named, in its order."""

    inbound: int
    channel: str
    address: str
    text: str
    alarm: bool
    people: tuple[Party, ...]
    kept_at: datetime
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Place:
    """A shared phone at which texts wait. `first` is the id of the oldest that waited too long."""

    channel: str
    address: str
    first: int


def keep(connection: Connection, kept: Kept) -> None:
    """Keep a text until somebody says whom it is about."""
    insert_new(
        connection,
        KEPT_TEXT,
        {
            "inbound_id": kept.inbound,
            "channel": kept.channel,
            "address": kept.address,
            "text": kept.text,
            "alarm": kept.alarm,
            "people": [[party.patient, party.coach] for party in kept.people],
            "kept_at": kept.kept_at,
            "expires_at": kept.expires_at,
        },
    )


def waiting_at(connection: Connection, channel: str, address: str) -> list[Kept]:
    """What waits at one address, the oldest first."""
    query = select(KEPT_TEXT).where(
        KEPT_TEXT.c.channel == channel,
        KEPT_TEXT.c.address == address,
        KEPT_TEXT.c.closed_at.is_(None),
    )
    return [_kept(row) for row in connection.execute(query.order_by(KEPT_TEXT.c.inbound_id))]


def expired(connection: Connection, now: datetime, limit: int) -> list[Place]:
    """The phones at which a text has waited long enough."""
    rows = _EXPIRED.rows(connection, {"now": now, "most": limit})
    return [Place(row.channel, row.address, row.first) for row in rows]


def put_off(connection: Connection, place: Place, now: datetime, until: datetime) -> None:
    """Look at what waited too long at a phone again at `until`, as it could not be told now."""
    late = update(KEPT_TEXT).where(
        KEPT_TEXT.c.channel == place.channel,
        KEPT_TEXT.c.address == place.address,
        KEPT_TEXT.c.closed_at.is_(None),
        KEPT_TEXT.c.expires_at <= now,
    )
    connection.execute(late.values(expires_at=until))


def close(connection: Connection, kept: Sequence[Kept], now: datetime) -> None:
    """These texts wait no more."""
    ids = [each.inbound for each in kept]
    done = update(KEPT_TEXT).where(KEPT_TEXT.c.inbound_id.in_(ids))
    connection.execute(done.values(closed_at=now))


def _kept(row: Row[Any]) -> Kept:
    people = tuple(Party(patient, row.channel, row.address, coach) for patient, coach in row.people)
    return Kept(
        row.inbound_id, row.channel, row.address, row.text, row.alarm, people,
        row.kept_at, row.expires_at,
    )  # fmt: skip
