"""Messages out: put once, claimed by one sender, and marked with what became of them.

States: queued -> claimed -> sent | failed | unknown, or queued -> withdrawn. What is for a phone
that is not known yet, or waits for a consent, is held until it is queued or withdrawn. A claim is a
conditional update that is committed before the provider is called; a row left "claimed" by a sender
that died is found again: by the silence of the worker that claimed it, or, where the sender was
none of those written down as workers, by its age.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    Update,
    bindparam,
    select,
    update,
)

from bot.core.record import Message, Party
from bot.store.engine import insert_new, insert_new_rows, update_row
from bot.store.links import WAITING, is_waiting
from bot.store.prepared import Prepared
from bot.store.tables_log import OUTBOUND

_NOT_OUT = ("queued", "held")
_EARLIER = OUTBOUND.alias("earlier")
# True of a message behind which another to the same address has still to go out.
BLOCKED = (
    select(_EARLIER.c.id)
    .where(
        _EARLIER.c.channel == OUTBOUND.c.channel,
        _EARLIER.c.address == OUTBOUND.c.address,
        (_EARLIER.c.state == "queued") | (_EARLIER.c.state == "claimed"),
        _EARLIER.c.id < OUTBOUND.c.id,
    )
    .exists()
)

_NEXT_TRY = Prepared(
    select(OUTBOUND.c.next_try_at.label("at"))
    .where(OUTBOUND.c.state == "queued", ~BLOCKED)
    .order_by(OUTBOUND.c.next_try_at)
    .limit(1)
)
_LET_GO = Prepared(
    update(OUTBOUND)
    .where(
        OUTBOUND.c.patient_id == bindparam("patient"),
        OUTBOUND.c.to_role == bindparam("role"),
        OUTBOUND.c.state == "held",
        ~OUTBOUND.c.address.startswith(WAITING),
    )
    .values(state="queued", next_try_at=bindparam("now"), changed_at=bindparam("now"))
)


def queue(connection: Connection, message: Message) -> int | None:
    """Put one message into the outbox; None when its business key is there already."""
    return insert_new(connection, OUTBOUND, _columns(message))


def queue_all(connection: Connection, messages: Sequence[Message]) -> None:
    """Put messages into the outbox in this order, but for those whose key is there already."""
    insert_new_rows(connection, OUTBOUND, [_columns(message) for message in messages])


def _columns(message: Message) -> dict[str, Any]:
    return {
        "key": message.key,
        "patient_id": message.patient,
        "escalation_id": message.escalation,
        "to_role": message.to_role,
        "name": message.name,
        "channel": message.channel,
        "address": message.address,
        "text": message.text,
        "choices": list(message.choices),
        "prompt_key": message.prompt_key,
        "queued_at": message.queued_at,
        "not_after": message.not_after,
        "state": "held" if _must_wait(message) else message.state,
        "reason": message.reason,
        "attempts": 0,
        "next_try_at": message.queued_at,
        "changed_at": message.queued_at,
    }


def _must_wait(message: Message) -> bool:
    return message.state == "queued" and is_waiting(message.address)


def mark(connection: Connection, message_id: int, changes: dict[str, Any], now: datetime) -> None:
    """Store what is known of a message, whoever has it."""
    update_row(connection, OUTBOUND, message_id, {**changes, "changed_at": now})


def withdraw(
    connection: Connection, patient: int, roles: Sequence[str], reason: str, now: datetime
) -> int:
    """Withdraw what is queued for a patient's people and has not gone out; return how many.

    A message that a sender has in hand may be out; it is not tried a second time.
    """
    theirs = update(OUTBOUND).where(OUTBOUND.c.patient_id == patient, OUTBOUND.c.to_role.in_(roles))
    return _withdrawn(connection, theirs, reason, now)


def let_go(connection: Connection, patient: int, role: str, now: datetime) -> None:
    """Queue what was held for a consent, for the patient's people of this role."""
    _LET_GO.run(connection, {"patient": patient, "role": role, "now": now})


def withdraw_to(connection: Connection, to: Party, reason: str, now: datetime) -> None:
    """Withdraw what is queued for one person at one address."""
    theirs = update(OUTBOUND).where(
        OUTBOUND.c.channel == to.channel,
        OUTBOUND.c.address == to.address,
        OUTBOUND.c.patient_id == to.patient,
        OUTBOUND.c.to_role == to.role,
    )
    _withdrawn(connection, theirs, reason, now)


def _withdrawn(connection: Connection, theirs: Update, reason: str, now: datetime) -> int:
    in_hand = theirs.where(OUTBOUND.c.state == "claimed")
    connection.execute(in_hand.values(not_after=now))
    waiting = theirs.where(OUTBOUND.c.state.in_(_NOT_OUT))
    changed = waiting.values(state="withdrawn", reason=reason, changed_at=now)
    return connection.execute(changed).rowcount


def next_try(connection: Connection) -> datetime | None:
    """When the first message that nothing stands before may be tried."""
    row = _NEXT_TRY.first(connection, {})
    return None if row is None else row.at


def by_key(connection: Connection, key: str) -> Message | None:
    """One message by its business key."""
    row = connection.execute(select(OUTBOUND).where(OUTBOUND.c.key == key)).one_or_none()
    return message(row) if row else None


def not_out(connection: Connection, channel: str, address: str) -> list[Message]:
    """What waits to go to an address, in order."""
    query = select(OUTBOUND).where(
        OUTBOUND.c.channel == channel,
        OUTBOUND.c.address == address,
        OUTBOUND.c.state.in_(_NOT_OUT),
    )
    return [message(row) for row in connection.execute(query.order_by(OUTBOUND.c.id))]


def reword(connection: Connection, message_id: int, text: str) -> None:
    """Change the words of a message that has not gone out."""
    connection.execute(
        update(OUTBOUND)
        .where(OUTBOUND.c.id == message_id, OUTBOUND.c.state.in_(_NOT_OUT))
        .values(text=text)
    )


def newest_question(connection: Connection, like: Message) -> str | None:
    """The key of the last message with choices to the person and address of another."""
    query = (
        select(OUTBOUND.c.key, OUTBOUND.c.choices)
        .where(
            OUTBOUND.c.channel == like.channel,
            OUTBOUND.c.address == like.address,
            *_same_person(like),
            OUTBOUND.c.state.in_(("sent", "claimed")),
        )
        .order_by(OUTBOUND.c.id.desc())
        .limit(20)
    )
    return next((row.key for row in connection.execute(query) if row.choices), None)


def _same_person(like: Message) -> list[ColumnElement[bool]]:
    """A phone may be several people's; a message to nobody in particular is everyone's."""
    if like.patient is None:
        return []
    return [OUTBOUND.c.patient_id == like.patient, OUTBOUND.c.to_role == like.to_role]


def by_provider(connection: Connection, channel: str, provider_id: str) -> Message | None:
    """One message by the id that the provider gave it."""
    query = select(OUTBOUND).where(
        OUTBOUND.c.channel == channel, OUTBOUND.c.provider_id == provider_id
    )
    row = connection.execute(query).first()
    return message(row) if row else None


def messages_of(connection: Connection, patient: int | None = None) -> list[Message]:
    """Every message out, in order; one patient's or everybody's."""
    query = select(OUTBOUND).order_by(OUTBOUND.c.id)
    if patient is not None:
        query = query.where(OUTBOUND.c.patient_id == patient)
    return [message(row) for row in connection.execute(query)]


def message(row: Row[Any]) -> Message:
    """A row of outbound as a value."""
    return Message(
        key=row.key,
        patient=row.patient_id,
        to_role=row.to_role,
        name=row.name,
        channel=row.channel,
        address=row.address,
        text=row.text,
        choices=tuple(row.choices),
        queued_at=row.queued_at,
        prompt_key=row.prompt_key,
        escalation=row.escalation_id,
        not_after=row.not_after,
        state=row.state,
        reason=row.reason,
        attempts=row.attempts,
        changed_at=row.changed_at,
        provider_id=row.provider_id,
        id=row.id,
        claimed_by=row.claimed_by,
    )
