"""What became of claimed messages, and those whose sender died with them in hand.

Another worker may meanwhile have taken a message up from a sender that was only slow. So whoever
marks one says by whom it was claimed, and nothing is stored over another's attempt.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, select, update

from bot.core.record import Message
from bot.store.outbox import message
from bot.store.tables_log import OUTBOUND, WORKER


def accept(connection: Connection, tried: Message, changes: dict[str, Any], now: datetime) -> bool:
    """Store that a message went out, unless another worker has taken it up and tries it now."""
    others = (OUTBOUND.c.state == "claimed") & ~_claimed_by(tried.claimed_by)
    return _changed(connection, OUTBOUND.c.id == tried.id, ~others, changes, now)


def give_up(connection: Connection, tried: Message, changes: dict[str, Any], now: datetime) -> bool:
    """Store that a message did not go out; False when it is no longer this worker's to say so."""
    ours = (OUTBOUND.c.state == "claimed") & _claimed_by(tried.claimed_by)
    return _changed(connection, OUTBOUND.c.id == tried.id, ours, changes, now)


def _claimed_by(worker: int | None) -> ColumnElement[bool]:
    return OUTBOUND.c.claimed_by.is_not_distinct_from(worker)


def _changed(
    connection: Connection,
    which: ColumnElement[bool],
    only: ColumnElement[bool],
    changes: dict[str, Any],
    now: datetime,
) -> bool:
    statement = update(OUTBOUND).where(which, only).values(**changes, changed_at=now)
    return connection.execute(statement).rowcount == 1


def left_behind(connection: Connection, before: datetime) -> list[Message]:
    """Messages claimed at `before` or earlier by no worker, and never marked."""
    query = select(OUTBOUND).where(
        OUTBOUND.c.state == "claimed",
        OUTBOUND.c.claimed_by.is_(None),
        OUTBOUND.c.changed_at <= before,
    )
    return [message(row) for row in connection.execute(query.order_by(OUTBOUND.c.id))]


def left_by_workers(connection: Connection, me: int, silent_since: datetime) -> list[Message]:
    """Messages that a dead worker had claimed, or that I claim and do not have in hand."""
    alive = select(WORKER.c.id).where(WORKER.c.beat_at > silent_since)
    query = select(OUTBOUND).where(
        OUTBOUND.c.state == "claimed",
        (OUTBOUND.c.claimed_by == me) | OUTBOUND.c.claimed_by.not_in(alive),
    )
    return [message(row) for row in connection.execute(query.order_by(OUTBOUND.c.id))]
