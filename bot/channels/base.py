"""The channel port: what the service may ask of any way to reach a phone, and what it gets back.

The core is synchronous. `Channel.send` blocks until the provider has answered and is called from a
worker thread with no database transaction open. An adapter whose library wants asyncio keeps one
event loop in a thread of its own (`loop_thread.py`) and shows the same blocking face.

Messages and receipts come in through two callbacks given to `start`. A callback returns only after
the event is stored (committed); if it raises, the adapter must not acknowledge the event to the
provider, so that the provider gives it again. Callbacks may be called from any thread and more
than once with the same id: the service keeps (channel, message_id) unique.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message to send. `key` is our own id of the outbox row, the same on every attempt.

    `choices` are the labels offered, in order; each channel gives them its own form. `replaces` is
    the provider's id of an earlier message that this one corrects: a channel that can edit does so
    and answers with that id, any other sends a new message.
    """

    key: str
    address: str
    text: str
    choices: tuple[str, ...] = ()
    replaces: str | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """The provider took the message. `segments` is how many SMS parts it was billed as."""

    provider_id: str
    segments: int = 1


@dataclass(frozen=True, slots=True)
class Incoming:
    """One message from a phone. `message_id` is the provider's, the same when it is given again.

    `enrol` is the code of a deep link when the message is one. `answers` is the `key` of the
    message whose button was pressed, so that yesterday's button is not taken for an answer to
    today's question; typed text has none. `by` is known only where one address speaks for two.
    """

    channel: str
    address: str
    text: str
    message_id: str
    received_at: datetime
    by: str | None = None
    answers: str | None = None
    enrol: str | None = None


class DeliveryState(StrEnum):
    """How far a message got. Providers report out of order; see `moves_forward`."""

    SENT = "sent"  # handed on towards the phone
    DELIVERED = "delivered"
    UNDELIVERED = "undelivered"  # the provider gave up


_RANK = {DeliveryState.SENT: 1, DeliveryState.UNDELIVERED: 2, DeliveryState.DELIVERED: 3}


def moves_forward(old: DeliveryState | None, new: DeliveryState) -> bool:
    """Decides whether a report may replace the state known so far.

    Receipts were seen out of order (delivered before sent), so a state never moves back. A late
    "delivered" beats "undelivered": the text did reach the phone, perhaps in a later attempt.
    """
    return old is None or _RANK[new] > _RANK[old]


@dataclass(frozen=True, slots=True)
class Delivery:
    """A report on a message that we sent, found by our `key` or by the provider's id.

    The report may come before `send` has returned; the service keeps it until the row is known.
    With `address` alone (a blocked bot) it concerns everything sent there from now on.
    """

    channel: str
    state: DeliveryState
    at: datetime
    provider_id: str | None = None
    key: str | None = None
    address: str | None = None
    reason: str = ""


class SendFailed(Exception):
    """The provider did not take the message: it certainly did not go out.

    `permanent`: trying again is of no use (unknown number, blocked bot): a person must be told.
    Otherwise `retry_after` is the wait in seconds that the provider asked for, or None.
    """

    def __init__(self, reason: str, permanent: bool, retry_after: float | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.permanent = permanent
        self.retry_after = retry_after


class SendUnknown(SendFailed):
    """The answer never came: the message may or may not have gone out. The outbox decides.

    It is a temporary SendFailed for callers who do not tell the two apart, so catch it first.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason, permanent=False)


OnIncoming = Callable[[Incoming], None]
OnDelivery = Callable[[Delivery], None]
Clock = Callable[[], datetime]


class Channel(Protocol):
    """One way to reach a phone. `name` is stored with every address and message."""

    @property
    def name(self) -> str:
        """The channel's name: "telegram", "sms" or "terminal"."""
        ...

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Connects and begins to hand in messages and receipts. Returns when it is ready.

        A provider that cannot be reached now is no error: the adapter goes on trying, `send`
        raises a temporary SendFailed meanwhile and `trouble` says what is wrong.
        """
        ...

    def send(self, outgoing: Outgoing) -> Sent:
        """Hands one message to the provider. Raises SendFailed or SendUnknown."""
        ...

    def trouble(self) -> str | None:
        """What is wrong with the connection at this moment, in words for IT; None if nothing."""
        ...

    def close(self) -> None:
        """Stops taking messages in and lets go of the connection. May be called twice."""
        ...
