"""What a provider reports of a message, in whatever order the reports come."""

from datetime import datetime, timedelta

from sqlalchemy import Connection

from bot.channels.base import Delivery, DeliveryState, moves_forward
from bot.core.conversation import Escalate
from bot.core.record import Message
from bot.core.sharing import one_for_each_patient
from bot.service.cases import raise_case
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.undelivered import tell_person
from bot.store import outbox, patients, receipts
from bot.store.engine import reading, writing
from bot.store.receipts import EarlyReceipt

KEEP_EARLY = timedelta(days=7)  # receipts were seen days late (our choice)
_OPEN = ("queued", "unknown", "failed")  # states that "it did go out" corrects


def receipt(practice: Practice, delivery: Delivery, now: datetime) -> None:
    """Store a provider's report.

    1. A report on a known message moves its delivery forward, never back; 2. one whose message has
    no provider id yet is kept until it has; 3. one on an address alone is a person's matter.
    """
    with writing(practice.engine) as connection:
        message = _locked(connection, _reported(connection, delivery))
        if message is not None:
            _apply(practice, connection, message, delivery, now)
        elif delivery.provider_id is not None:
            _keep(connection, delivery, delivery.provider_id, now)
        else:
            _report_on_address(practice, connection, delivery, now)


def take_up_early(practice: Practice, now: datetime) -> int:
    """Apply the reports that came before their message was known; return how many.

    Asked after each round of the relay and not while a message is stored, so that a report stored
    at that very moment by another process is not missed.
    """
    with reading(practice.engine) as connection:
        found = receipts.known_now(connection)
    if not found:
        return 0
    for early in found:
        with writing(practice.engine) as connection:  # one each: each locks a patient
            _take_up(practice, connection, early, now)
    with writing(practice.engine) as connection:
        receipts.forget_early(connection, now - KEEP_EARLY)
    return len(found)


def _take_up(
    practice: Practice, connection: Connection, early: EarlyReceipt, now: datetime
) -> None:
    state = DeliveryState(early.state)
    delivery = Delivery(early.channel, state, now, early.provider_id, reason=early.reason)
    message = _locked(connection, _reported(connection, delivery))
    if message is not None:
        _apply(practice, connection, message, delivery, now)
    receipts.drop_early(connection, early)


def _locked(connection: Connection, message: Message | None) -> Message | None:
    """The message as it stands once its patient is locked, for a person may have to be told."""
    if message is None or message.patient is None or connection.dialect.name == "sqlite":
        return message
    patients.lock(connection, message.patient)
    return outbox.by_key(connection, message.key)


def _keep(connection: Connection, delivery: Delivery, provider_id: str, now: datetime) -> None:
    """Keep an early report, unless one that goes further was kept before."""
    old = receipts.early_of(connection, delivery.channel, provider_id)
    if moves_forward(_state(old), delivery.state):
        early = EarlyReceipt(delivery.channel, provider_id, delivery.state, delivery.reason)
        receipts.put_early(connection, early, now)


def _state(stored: str | None) -> DeliveryState | None:
    return DeliveryState(stored) if stored else None


def _apply(
    practice: Practice, connection: Connection, message: Message, delivery: Delivery, now: datetime
) -> None:
    """Move the delivery forward. A message that was given up and did arrive counts as sent."""
    if not moves_forward(_state(receipts.delivery_of(connection, message.id)), delivery.state):
        return
    changes: dict[str, object] = {"delivery": str(delivery.state)}
    lost = delivery.state is DeliveryState.UNDELIVERED
    if lost and message.state != "failed":
        changes |= {"state": "failed", "reason": delivery.reason or "not delivered"}
    elif not lost and message.state in _OPEN:
        changes |= {"state": "sent", "reason": ""}
    outbox.mark(connection, message.id, changes, now)
    if lost and message.state != "failed":
        tell_person(practice, connection, message, now, delivery.reason or "not delivered")


def _report_on_address(
    practice: Practice, connection: Connection, delivery: Delivery, now: datetime
) -> None:
    """A report without a message: the phone takes nothing more from us, so a person must call."""
    if delivery.address is None or delivery.state is not DeliveryState.UNDELIVERED:
        return
    people = patients.people_at(connection, delivery.channel, delivery.address)
    parties = one_for_each_patient(person.party for person in people)
    for party in sorted(parties, key=lambda each: each.patient):
        patients.lock(connection, party.patient)
        desk = Desk(connection, practice, load_chart(connection, practice, party.patient), now)
        what = {"to": party.role, "why": delivery.reason or "not delivered"}
        raise_case(desk, Escalate("undelivered", "", (), what))


def _reported(connection: Connection, delivery: Delivery) -> Message | None:
    """The message by our key, else by the provider's id."""
    found = outbox.by_key(connection, delivery.key) if delivery.key else None
    if found is None and delivery.provider_id is not None:
        found = outbox.by_provider(connection, delivery.channel, delivery.provider_id)
    return found
