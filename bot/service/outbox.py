"""The relay: sends what is queued, with no transaction open while the provider is called.

A decision to send is made once; an attempt is made at least once. Three outcomes are told apart:
accepted, refused, unknown. Any number of workers may relay at once: each message is claimed by one,
and on PostgreSQL a worker has one message in hand at a time, so no more than that is in doubt when
it dies.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from hashlib import sha256

from sqlalchemy import Connection

from bot.channels.base import Channel, DeliveryState, Outgoing, SendFailed, SendUnknown
from bot.core import escalation
from bot.core.record import Message
from bot.service.cases import save
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.undelivered import tell_person
from bot.service.workers import SILENT_FOR
from bot.store import claims, due, escalations, outbox, patients, receipts, workers
from bot.store.engine import need_not_last, reading, writing

BATCH = 50
MOST_ATTEMPTS = 6
FIRST_WAIT = timedelta(seconds=20)
LONGEST_WAIT = timedelta(minutes=15)
LEFT_BEHIND = timedelta(minutes=5)  # so old a claim of no worker belongs to a sender that died
ROUND = 200  # messages to a round of a worker, so that `now` stays the present (our choice)
LOOK_EVERY = 5  # messages, then a look for what another left: a provider may be slow (our choice)
_STOPPED = "the sender stopped before the answer came"


@dataclass(slots=True)
class Relay:
    """What one round of the relay did."""

    sent: int = 0
    retried: int = 0
    failed: int = 0
    stale: int = 0


def relay(
    practice: Practice, channels: Mapping[str, Channel], now: datetime, worker: int | None = None
) -> Relay:
    """Send what may be tried now, in order for each address; a `worker` stops after ROUND.

    1. Take up messages that a dead sender left claimed; 2. claim some and commit; 3. send each
    with no transaction open; 4. store what became of it, one commit each; repeat until nothing is
    left that may be tried at `now`.
    """
    done = Relay()
    if worker is not None:
        _take_up_from_workers(practice, now, worker, done)
    if not _anything_due(practice, now):
        return done
    _take_up_left_behind(practice, now, done)
    for message in _claimed(practice, now, worker, done):
        _send(practice, channels, message, now, done)
    return done


def _claimed(
    practice: Practice, now: datetime, worker: int | None, done: Relay
) -> Iterator[Message]:
    alone = worker is None or practice.engine.dialect.name == "sqlite"
    count, most = 0, BATCH if alone else 1
    while (worker is None or count < ROUND) and (batch := _claim(practice, now, most, worker)):
        count += len(batch)
        yield from batch
        if worker is not None and count % LOOK_EVERY == 0:
            _take_up_from_workers(practice, now, worker, done)


def _anything_due(practice: Practice, now: datetime) -> bool:
    with reading(practice.engine) as connection:
        moment = due.next_relay(connection, LEFT_BEHIND)
    return moment is not None and moment <= now


def _claim(practice: Practice, now: datetime, most: int, worker: int | None) -> list[Message]:
    """Claim and commit. A server that fails may forget a claim: the message then goes out again by
    its key, as it does when its sender dies."""
    claim = outbox.claim if worker is None else partial(outbox.claim, worker=worker)
    with writing(practice.engine) as connection:
        need_not_last(connection)
        return claim(connection, now, most)


def _send(
    practice: Practice,
    channels: Mapping[str, Channel],
    message: Message,
    now: datetime,
    done: Relay,
) -> None:
    if message.not_after is not None and now > message.not_after:
        done.stale += 1
        _settle(practice, message, now, "withdrawn", "stale before it could be sent")
        return
    channel = channels.get(message.channel)
    if channel is None:
        done.failed += 1
        _settle(practice, message, now, "failed", f"no channel named {message.channel} is set up")
        return
    outgoing = Outgoing(message.key, message.address, message.text, message.choices)
    try:
        accepted = channel.send(outgoing)
    except SendUnknown as fault:
        _unknown(practice, message, now, fault.reason, done)
    except SendFailed as fault:
        _refused(practice, message, now, fault, done)
    except Exception as fault:  # an adapter's own error: the message may or may not be out
        _unknown(practice, message, now, f"{type(fault).__name__} in {channel.name}", done)
    else:
        done.sent += 1
        _accepted(practice, message, accepted.provider_id, now)


def _accepted(practice: Practice, message: Message, provider_id: str, now: datetime) -> None:
    """Store the provider's id; a message about an escalation is also an entry in its log."""
    with writing(practice.engine) as connection:
        if message.escalation is not None:
            _lock(connection, message)
        changes = {"provider_id": provider_id}
        if receipts.delivery_of(connection, message.id) != DeliveryState.UNDELIVERED:
            changes |= {"state": "sent", "reason": ""}  # else its report by our key came first
        if claims.accept(connection, message, changes, now):
            _log_in_case(practice, connection, message, now)


def _lock(connection: Connection, message: Message) -> None:
    """Whoever locks a patient does it before anything else, so that no two wait for each other."""
    if message.patient is not None:
        patients.lock(connection, message.patient)


def _log_in_case(
    practice: Practice, connection: Connection, message: Message, now: datetime
) -> None:
    if message.escalation is None or message.patient is None or message.to_role == "coach":
        return
    case = escalations.load_case(connection, message.escalation)
    if case.closed:
        return
    nurse = message.to_role == "nurse"
    after = escalation.notified(case, message.name, now) if nurse else escalation.told(case, now)
    desk = Desk(connection, practice, load_chart(connection, practice, message.patient), now)
    save(desk, after, len(case.entries))


def _unknown(practice: Practice, message: Message, now: datetime, reason: str, done: Relay) -> None:
    """The answer was lost: a nurse's notice is repeated until a person acknowledges, a patient's
    message gets one more attempt and then a person is told."""
    if message.to_role == "nurse" or message.attempts < 2:
        done.retried += 1
        _again(practice, message, now, reason, None)
        return
    done.failed += 1
    _settle(practice, message, now, "unknown", reason)


def _refused(
    practice: Practice, message: Message, now: datetime, fault: SendFailed, done: Relay
) -> None:
    if fault.permanent or message.attempts >= MOST_ATTEMPTS:
        done.failed += 1
        _settle(practice, message, now, "failed", fault.reason)
        return
    done.retried += 1
    _again(practice, message, now, fault.reason, fault.retry_after)


def _again(
    practice: Practice, message: Message, now: datetime, reason: str, wait: float | None
) -> None:
    pause = timedelta(seconds=wait) if wait is not None else backoff(message.key, message.attempts)
    with writing(practice.engine) as connection:
        changes = {"state": "queued", "reason": reason, "next_try_at": now + pause}
        claims.give_up(connection, message, changes, now)


def backoff(key: str, attempts: int) -> timedelta:
    """How long to wait after the `attempts`-th try: doubling, spread by a hash of the key.

    The hash stands in for chance, so that a run can be repeated exactly.
    """
    doubled = min(FIRST_WAIT * float(2 ** (attempts - 1)), LONGEST_WAIT)
    share = int.from_bytes(sha256(f"{key}/{attempts}".encode()).digest()[:4]) / 2**32
    return doubled * (0.5 + share / 2)


def _settle(practice: Practice, message: Message, now: datetime, state: str, reason: str) -> None:
    """Give a message up for good. It is a dead letter, and a person hears of it."""
    with writing(practice.engine) as connection:
        _lock(connection, message)
        if claims.give_up(connection, message, {"state": state, "reason": reason}, now):
            tell_person(practice, connection, message, now, reason)


def _take_up_left_behind(practice: Practice, now: datetime, done: Relay) -> None:
    with reading(practice.engine) as connection:
        left = claims.left_behind(connection, now - LEFT_BEHIND)
    for message in left:
        _unknown(practice, message, now, _STOPPED, done)


def _take_up_from_workers(practice: Practice, now: datetime, me: int, done: Relay) -> None:
    """What a dead worker had in hand is tried again at once, by its key the same message.

    One with which several workers died may be what they died of: a person is told.
    """
    with reading(practice.engine) as connection:
        silent_since = workers.moment(connection, now) - SILENT_FOR
        left = claims.left_by_workers(connection, me, silent_since)
    for message in left:
        if message.attempts < MOST_ATTEMPTS:
            done.retried += 1
            _again(practice, message, now, _STOPPED, 0.0)
        else:
            done.failed += 1
            _settle(practice, message, now, "unknown", _STOPPED)
