"""Who has a message in hand: claims, what became of them, and those whose sender died.

Another worker may meanwhile have taken a message up from a sender that was only slow. So whoever
marks one says by whom it was claimed, and nothing is stored over another's attempt.
"""

from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from itertools import takewhile
from typing import Any

from sqlalchemy import BindParameter, Connection, Integer, bindparam, case, select, update

from bot.core.changed import replace
from bot.core.record import Message
from bot.store.outbox import BLOCKED, message
from bot.store.prepared import Prepared
from bot.store.tables_log import OUTBOUND, WORKER

# In the order of the index, so that a batch reads only its own rows however many more are queued.
_READY = Prepared(
    select(OUTBOUND)
    .where(OUTBOUND.c.state == "queued", OUTBOUND.c.next_try_at <= bindparam("now"), ~BLOCKED)
    .order_by(OUTBOUND.c.next_try_at, OUTBOUND.c.id)
    .limit(bindparam("most"))
    .with_for_update(skip_locked=True)
)
_WORKER: BindParameter[int | None] = bindparam("worker", type_=Integer)
_THIS = OUTBOUND.c.id == bindparam("message")
_OURS = OUTBOUND.c.claimed_by.is_not_distinct_from(_WORKER)
_IN_HAND = OUTBOUND.c.state == "claimed"
_REPORTED_LOST = OUTBOUND.c.delivery == "undelivered"
_ACCEPT = Prepared(
    update(OUTBOUND)
    .where(_THIS, ~(_IN_HAND & ~_OURS))
    .values(
        provider_id=bindparam("new_provider_id"),
        changed_at=bindparam("new_changed_at"),
        state=case((_REPORTED_LOST, OUTBOUND.c.state), else_="sent"),
        reason=case((_REPORTED_LOST, OUTBOUND.c.reason), else_=""),
    )
)


def claim(
    connection: Connection, now: datetime, limit: int, worker: int | None = None
) -> list[Message]:
    """Claim queued messages that may be tried now, the oldest of each address first.

    While a message is claimed, or is waiting for its next try, later ones to the same address wait
    behind it, so a person gets messages in order. One that was tried before is claimed alone: it
    may be what its sender died of, and must not draw others into its fate.
    """
    ready = _READY.rows(connection, {"now": now, "most": limit})
    fresh = list(takewhile(lambda row: row.attempts == 0, ready))
    taken = [message(row) for row in (fresh or ready[:1])]
    if not taken:
        return []
    claimed = update(OUTBOUND).where(OUTBOUND.c.id.in_([one.id for one in taken]))
    connection.execute(
        claimed.values(
            state="claimed", attempts=taken[0].attempts + 1, changed_at=now, claimed_by=worker
        )
    )
    return [_claimed(one, now, worker) for one in sorted(taken, key=lambda one: one.id)]


def _claimed(ready: Message, now: datetime, worker: int | None) -> Message:
    attempts = ready.attempts + 1
    return replace(ready, state="claimed", attempts=attempts, changed_at=now, claimed_by=worker)


def accept(connection: Connection, tried: Message, provider_id: str, now: datetime) -> bool:
    """Store that a message went out, unless another worker has taken it up and tries it now.

    A report by our key that it did not arrive may have come first: then that stays.
    """
    return _ACCEPT.run(connection, _accepted(tried, provider_id, now)) == 1


def accept_all(
    connection: Connection, answers: Sequence[tuple[Message, str]], now: datetime
) -> list[tuple[Message, str]]:
    """Store of many messages (with the provider's id of each) that they went out.

    Return those that another transaction has in hand: who waited for one here while holding others
    might be waited for in turn.
    """
    free = _free(connection, [message.id for message, _ in answers])
    own = [_accepted(*answer, now) for answer in answers if answer[0].id in free]
    if own:
        _ACCEPT.run_each(connection, own)
    return [answer for answer in answers if answer[0].id not in free]


def _accepted(tried: Message, provider_id: str, now: datetime) -> dict[str, Any]:
    return {
        "message": tried.id,
        "worker": tried.claimed_by,
        "new_provider_id": provider_id,
        "new_changed_at": now,
    }


def _free(connection: Connection, ids: list[int]) -> set[int]:
    if connection.dialect.name == "sqlite":
        return set(ids)
    locked = select(OUTBOUND.c.id).where(OUTBOUND.c.id.in_(ids)).with_for_update(skip_locked=True)
    return set(connection.execute(locked).scalars())


def give_up(connection: Connection, tried: Message, changes: dict[str, Any], now: datetime) -> bool:
    """Store that a message did not go out; False when it is no longer this worker's to say so."""
    news = {**changes, "changed_at": now}
    given = {f"new_{name}": value for name, value in news.items()}
    which = {"message": tried.id, "worker": tried.claimed_by}
    return _giving_up(tuple(news)).run(connection, {**which, **given}) == 1


@lru_cache(maxsize=32)
def _giving_up(columns: tuple[str, ...]) -> Prepared:
    fresh: dict[str, Any] = {name: bindparam(f"new_{name}") for name in columns}
    return Prepared(update(OUTBOUND).where(_THIS, _IN_HAND & _OURS).values(fresh))


def give_back(connection: Connection, untried: Sequence[Message], now: datetime) -> None:
    """Let go of claimed messages that were not given to a provider: anybody may claim them.

    One that another transaction has in hand stays the worker's, who finds it when it looks again.
    """
    free = _free(connection, [message.id for message in untried])
    which = update(OUTBOUND).where(OUTBOUND.c.id.in_(free), _IN_HAND)
    fresh = {"state": "queued", "attempts": OUTBOUND.c.attempts - 1, "changed_at": now}
    connection.execute(which.values(fresh))


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


def keys_in_hand(connection: Connection) -> set[str]:
    """The keys of all messages that somebody claimed and has not marked."""
    return set(connection.execute(select(OUTBOUND.c.key).where(_IN_HAND)).scalars())
