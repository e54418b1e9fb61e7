"""Delivery receipts: one on each message, and those that came before their message was known."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, select

from bot.store.engine import upsert
from bot.store.prepared import Prepared
from bot.store.tables_log import OUTBOUND
from bot.store.tables_reach import EARLY_RECEIPT

_STATE = Prepared(select(OUTBOUND.c.delivery).where(OUTBOUND.c.id == bindparam("message")))
# Asked of each early report, of which there are few; a join may read every message there ever was.
_KNOWN_NOW = Prepared(
    select(EARLY_RECEIPT).where(
        select(OUTBOUND.c.id)
        .where(
            OUTBOUND.c.provider_id == EARLY_RECEIPT.c.provider_id,
            OUTBOUND.c.channel == EARLY_RECEIPT.c.channel,
        )
        .exists()
    )
)


@dataclass(frozen=True, slots=True)
class EarlyReceipt:
    """A report on a message that was not known by the provider's id when the report came."""

    channel: str
    provider_id: str
    state: str
    reason: str


def delivery_of(connection: Connection, message: int) -> str | None:
    """The state in the receipt that counts; None while there is none."""
    found = _STATE.first(connection, {"message": message})
    return (found.delivery or None) if found is not None else None


def early_of(connection: Connection, channel: str, provider_id: str) -> str | None:
    """The state in the early report on a message; None if there is none."""
    state: str | None = connection.execute(
        select(EARLY_RECEIPT.c.state).where(
            EARLY_RECEIPT.c.channel == channel, EARLY_RECEIPT.c.provider_id == provider_id
        )
    ).scalar()
    return state


def put_early(connection: Connection, receipt: EarlyReceipt, now: datetime) -> None:
    """Keep a report until its message is known, in the place of an earlier one."""
    values = {
        "channel": receipt.channel,
        "provider_id": receipt.provider_id,
        "state": receipt.state,
        "reason": receipt.reason,
        "received_at": now,
    }
    upsert(connection, EARLY_RECEIPT, values, ("channel", "provider_id"))


def known_now(connection: Connection) -> list[EarlyReceipt]:
    """The early reports whose message has its provider id by now."""
    return [
        EarlyReceipt(row.channel, row.provider_id, row.state, row.reason)
        for row in _KNOWN_NOW.rows(connection, {})
    ]


def drop_early(connection: Connection, receipt: EarlyReceipt) -> None:
    """An early report was applied."""
    connection.execute(
        delete(EARLY_RECEIPT).where(
            EARLY_RECEIPT.c.channel == receipt.channel,
            EARLY_RECEIPT.c.provider_id == receipt.provider_id,
        )
    )


def forget_early(connection: Connection, before: datetime) -> None:
    """Drop reports that no message of ours has claimed: another user of the same gateway's."""
    connection.execute(delete(EARLY_RECEIPT).where(EARLY_RECEIPT.c.received_at < before))
