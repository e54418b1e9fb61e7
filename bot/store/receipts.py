"""Delivery receipts: one on each message, and those that came before their message was known."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, select

from bot.channels.base import DeliveryState, moves_forward
from bot.store.engine import upsert
from bot.store.tables_log import OUTBOUND
from bot.store.tables_reach import EARLY_RECEIPT

_STATE = select(OUTBOUND.c.delivery).where(OUTBOUND.c.id == bindparam("message"))
_KNOWN_NOW = select(EARLY_RECEIPT).join(
    OUTBOUND,
    (OUTBOUND.c.channel == EARLY_RECEIPT.c.channel)
    & (OUTBOUND.c.provider_id == EARLY_RECEIPT.c.provider_id),
)


@dataclass(frozen=True, slots=True)
class EarlyReceipt:
    """A report on a message that was not known by the provider's id when the report came."""

    channel: str
    provider_id: str
    state: DeliveryState
    reason: str


def delivery_of(connection: Connection, message: int) -> DeliveryState | None:
    """The state in the receipt that counts; None while there is none."""
    state = connection.execute(_STATE, {"message": message}).scalar()
    return DeliveryState(state) if state else None


def put_early(connection: Connection, receipt: EarlyReceipt, now: datetime) -> None:
    """Keep a report until its message is known. A report that would move back is dropped."""
    old = connection.execute(
        select(EARLY_RECEIPT.c.state).where(
            EARLY_RECEIPT.c.channel == receipt.channel,
            EARLY_RECEIPT.c.provider_id == receipt.provider_id,
        )
    ).scalar()
    if not moves_forward(DeliveryState(old) if old else None, receipt.state):
        return
    values = {
        "channel": receipt.channel,
        "provider_id": receipt.provider_id,
        "state": str(receipt.state),
        "reason": receipt.reason,
        "received_at": now,
    }
    upsert(connection, EARLY_RECEIPT, values, ("channel", "provider_id"))


def known_now(connection: Connection) -> list[EarlyReceipt]:
    """The early reports whose message has its provider id by now."""
    return [
        EarlyReceipt(row.channel, row.provider_id, DeliveryState(row.state), row.reason)
        for row in connection.execute(_KNOWN_NOW)
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
