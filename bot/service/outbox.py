"""The relay: sends what is queued, with no transaction open while the provider is called.

A decision to send is made once; an attempt is made at least once. Three outcomes are told apart:
accepted, refused, unknown. Any number of workers may relay at once: each message is claimed by one,
and a worker has no more in hand, or accepted and not stored, than its provider takes within a
moment: so no more is in doubt when it dies.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from bot.channels.base import Channel, Outgoing, SendFailed, SendUnknown
from bot.core.record import Message
from bot.service.outcomes import (
    BATCH,
    BRIEF,
    MOST_ATTEMPTS,
    Answers,
    Clock,
    Relay,
    again,
    refused,
    settle,
    unknown,
)
from bot.service.practice import Practice
from bot.service.workers import SILENT_FOR
from bot.store import claims, due, workers
from bot.store.engine import need_not_last, reading, writing

LEFT_BEHIND = timedelta(minutes=5)  # so old a claim of no worker belongs to a sender that died
ROUND = 200  # messages to a round of a worker, so that `now` stays the present (our choice)
FEW = 5  # messages that a worker claims at first, and then looks for what another left (our choice)
_STOPPED = "the sender stopped before the answer came"


def relay(
    practice: Practice,
    channels: Mapping[str, Channel],
    now: datetime,
    worker: int | None = None,
    clock: Clock | None = None,
) -> Relay:
    """Send what may be tried now, in order for each address; a `worker` stops after ROUND.

    1. Take up messages that a dead sender left claimed; 2. claim some and commit; 3. send each
    with no transaction open; 4. store what became of them, those accepted within a moment by
    `clock` in one commit; repeat until nothing is left that may be tried at `now`.
    """
    done = Relay()
    if worker is not None:
        _take_up_from_workers(practice, now, worker, done)
    if not _anything_due(practice, now):
        return done
    _take_up_left_behind(practice, now, done)
    answers = Answers(practice, now, clock or (lambda: now))
    alone = worker is None or practice.engine.dialect.name == "sqlite"
    size = BATCH if alone else FEW
    _Sender(practice, channels, now, worker, done, answers, alone, size).send_all()
    return done


@dataclass(slots=True)
class _Sender:
    """One round of one sender; `alone`: nobody else sends from this store."""

    practice: Practice
    channels: Mapping[str, Channel]
    now: datetime
    worker: int | None
    done: Relay
    answers: Answers
    alone: bool
    size: int  # of the next batch

    def send_all(self) -> None:
        """Claim and send until nothing is left, or a worker's round is over."""
        count, looked = 0, 0
        while (self.worker is None or count < ROUND) and (batch := self._claim()):
            count += self._send_batch(batch)
            if self.worker is not None and count - looked >= FEW:
                looked = count
                _take_up_from_workers(self.practice, self.now, self.worker, self.done)

    def _claim(self) -> list[Message]:
        """Claim and commit. A server that fails may forget a claim: the message then goes out again
        by its key, as it does when its sender dies."""
        claim = claims.claim if self.worker is None else partial(claims.claim, worker=self.worker)
        with writing(self.practice.engine) as connection:
            need_not_last(connection)
            return claim(connection, self.now, self.size)

    def _send_batch(self, batch: Sequence[Message]) -> int:
        """Send them and store what became of them; return how many were tried.

        Where others send too, as many are claimed as a provider takes in BRIEF, and what it left no
        time for is given back.
        """
        began, tried, slow = self.answers.clock(), 0, False
        while tried < len(batch) and not slow:
            _send(self.channels, batch[tried], self.answers, self.done)
            tried += 1
            slow = not self.alone and self.answers.clock() - began >= BRIEF
        self.answers.store()
        if tried < len(batch):
            with writing(self.practice.engine) as connection:
                need_not_last(connection)
                claims.give_back(connection, batch[tried:], self.now)
        self.size = tried if slow else min(2 * self.size, BATCH)
        return tried


def _anything_due(practice: Practice, now: datetime) -> bool:
    with reading(practice.engine) as connection:
        moment = due.next_relay(connection, LEFT_BEHIND)
    return moment is not None and moment <= now


def _send(channels: Mapping[str, Channel], message: Message, answers: Answers, done: Relay) -> None:
    """One message. What was accepted before is stored before anything else is."""
    practice, now = answers.practice, answers.now
    if message.not_after is not None and now > message.not_after:
        done.stale += 1
        answers.store()
        settle(practice, message, now, "withdrawn", "stale before it could be sent")
        return
    channel = channels.get(message.channel)
    if channel is None:
        done.failed += 1
        answers.store()
        settle(practice, message, now, "failed", f"no channel named {message.channel} is set up")
        return
    fault = _attempt(channel, message, answers)
    if fault is None:
        done.sent += 1
    else:
        answers.store()
        _not_sent(practice, message, now, fault, done)


def _attempt(channel: Channel, message: Message, answers: Answers) -> SendFailed | None:
    """Give it to the provider, once; return what went wrong."""
    outgoing = Outgoing(message.key, message.address, message.text, message.choices)
    answers.expect()
    try:
        sent = channel.send(outgoing)
    except SendFailed as fault:
        return fault
    except Exception as fault:  # an adapter's own error: the message may or may not be out
        return SendUnknown(f"{type(fault).__name__} in {channel.name}")
    answers.add(message, sent.provider_id)
    return None


def _not_sent(
    practice: Practice, message: Message, now: datetime, fault: SendFailed, done: Relay
) -> None:
    if isinstance(fault, SendUnknown):
        unknown(practice, message, now, fault.reason, done)
    else:
        refused(practice, message, now, fault, done)


def _take_up_left_behind(practice: Practice, now: datetime, done: Relay) -> None:
    with reading(practice.engine) as connection:
        left = claims.left_behind(connection, now - LEFT_BEHIND)
    for message in left:
        unknown(practice, message, now, _STOPPED, done)


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
            again(practice, message, now, _STOPPED, 0.0)
        else:
            done.failed += 1
            settle(practice, message, now, "unknown", _STOPPED)
