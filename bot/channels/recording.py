"""A channel in memory that keeps what was sent and fails as it is told to.

Shipped for those who build on this program: tests and benchmarks need a phone that fails to order.
"""

import threading
from collections import deque
from dataclasses import dataclass

from bot.channels.base import (
    Clock,
    Delivery,
    DeliveryState,
    Incoming,
    OnDelivery,
    OnIncoming,
    Outgoing,
    SendFailed,
    SendUnknown,
    Sent,
)


@dataclass(frozen=True, slots=True)
class Recorded:
    """One message that this channel took, in the order of taking."""

    provider_id: str
    outgoing: Outgoing


class RecordingChannel:
    """Takes every message unless a fault is scripted; incoming messages are handed in by call."""

    def __init__(self, clock: Clock, name: str = "recording") -> None:
        self._name = name
        self._clock = clock
        self._lock = threading.Lock()
        self._faults: deque[SendFailed] = deque()
        self._handed_in = 0
        self._on_incoming: OnIncoming | None = None
        self._on_delivery: OnDelivery | None = None
        self.sent: list[Recorded] = []

    @property
    def name(self) -> str:
        """The name given at construction."""
        return self._name

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Keeps the callbacks; there is nothing to connect to."""
        self._on_incoming, self._on_delivery = on_incoming, on_delivery

    def send(self, outgoing: Outgoing) -> Sent:
        """Keeps the message, or raises the next scripted fault.

        SendUnknown is raised after keeping it: the worst case, accepted and the answer lost.
        """
        with self._lock:
            fault = self._faults.popleft() if self._faults else None
            if fault and not isinstance(fault, SendUnknown):
                raise fault
            provider_id = outgoing.replaces or f"{self._name}-{len(self.sent) + 1}"
            self.sent.append(Recorded(provider_id, outgoing))
            if fault:
                raise fault
            return Sent(provider_id)

    def trouble(self) -> str | None:
        """Never in trouble, except before `start`."""
        return None if self._on_incoming else "not started"

    def close(self) -> None:
        """Lets go of the callbacks."""
        self._on_incoming = self._on_delivery = None

    def fail_next(self, *faults: SendFailed) -> None:
        """The next sends raise these, in order."""
        self._faults.extend(faults)

    def receive(
        self,
        address: str,
        text: str,
        message_id: str | None = None,
        by: str | None = None,
        answers: str | None = None,
        enrol: str | None = None,
    ) -> Incoming:
        """Hands in a message from a phone. Give `message_id` again to play a repeat."""
        if self._on_incoming is None:
            raise RuntimeError(f"channel {self._name} is not started: call start() first")
        with self._lock:
            self._handed_in += 1
            message_id = message_id or f"{self._name}-in-{self._handed_in}"
        incoming = Incoming(
            self._name, address, text, message_id, self._clock(), by, answers, enrol
        )
        self._on_incoming(incoming)
        return incoming

    def report(self, provider_id: str, state: DeliveryState, reason: str = "") -> None:
        """Hands in a delivery receipt."""
        if self._on_delivery is None:
            raise RuntimeError(f"channel {self._name} is not started: call start() first")
        self._on_delivery(
            Delivery(self._name, state, self._clock(), provider_id=provider_id, reason=reason)
        )

    def texts_to(self, address: str) -> list[str]:
        """What was sent to one address, in order."""
        return [kept.outgoing.text for kept in self.sent if kept.outgoing.address == address]
