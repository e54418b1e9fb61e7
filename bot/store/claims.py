"""What became of claimed messages, and those whose sender died with them in hand.

Another worker may meanwhile have taken a message up from a sender that was only slow. So whoever
marks one says by whom it was claimed, and nothing is stored over another's attempt.
"""

from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, Connection, Integer, bindparam, select, update

from bot.core.record import Message
from bot.store.outbox import message
from bot.store.prepared import Prepared
from bot.store.tables_log import OUTBOUND, WORKER


def accept(connection: Connection, tried: Message, changes: dict[str, Any], now: datetime) -> bool:
    """Store that a message went out, unless another worker has taken it up and tries it now."""
    return _marked(connection, "accepted", tried, changes, now)


def give_up(connection: Connection, tried: Message, changes: dict[str, Any], now: datetime) -> bool:
    """Store that a message did not go out; False when it is no longer this worker's to say so."""
    return _marked(connection, "given up", tried, changes, now)


def _marked(
    connection: Connection, fate: str, tried: Message, changes: dict[str, Any], now: datetime
) -> bool:
    news = {**changes, "changed_at": now}
    given = {f"new_{name}": value for name, value in news.items()}
    which = {"message": tried.id, "worker": tried.claimed_by}
    return _marking(fate, tuple(news)).run(connection, {**which, **given}) == 1


@lru_cache(maxsize=32)
def _marking(fate: str, columns: tuple[str, ...]) -> Prepared:
    worker: BindParameter[int | None] = bindparam("worker", type_=Integer)
    ours = OUTBOUND.c.claimed_by.is_not_distinct_from(worker)
    claimed = OUTBOUND.c.state == "claimed"
    only = ~(claimed & ~ours) if fate == "accepted" else claimed & ours
    fresh: dict[str, Any] = {name: bindparam(f"new_{name}") for name in columns}
    return Prepared(
        update(OUTBOUND).where(OUTBOUND.c.id == bindparam("message"), only).values(fresh)
    )


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
