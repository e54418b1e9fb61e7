"""The simulated provider: takes messages, and loses, delays, doubles, refuses or keeps silent."""

import heapq
from collections.abc import Callable, Container
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from bot.channels.base import OnDelivery, OnIncoming, Outgoing, SendFailed, SendUnknown, Sent
from bot.simulate.faults import ProcessDied, Trouble, WallClock

CHANNEL = "sms"


@dataclass(frozen=True, slots=True)
class Taken:
    """One message that the provider took; `answered` is False when its answer was lost."""

    at: datetime
    key: str
    address: str
    text: str
    answered: bool


@dataclass(slots=True)
class Agenda:
    """What is to happen at which true time; equal times keep the order in which they were put."""

    clock: WallClock
    _heap: list[tuple[datetime, int, Callable[[], None]]] = field(default_factory=list)
    _count: int = 0

    def at(self, moment: datetime, deed: Callable[[], None]) -> None:
        """Do it then."""
        self._count += 1
        heapq.heappush(self._heap, (moment, self._count, deed))

    def after(self, minutes: float, deed: Callable[[], None]) -> None:
        """Do it so many minutes from now."""
        self.at(self.clock.true + timedelta(minutes=minutes), deed)

    def next(self) -> datetime | None:
        """When the next deed is to be done."""
        return self._heap[0][0] if self._heap else None

    def due(self) -> Callable[[], None] | None:
        """Take off one deed whose time has come."""
        if not self._heap or self._heap[0][0] > self.clock.true:
            return None
        return heapq.heappop(self._heap)[2]


class Network:
    """A channel of the service on one side, everybody's phones on the other."""

    name = CHANNEL

    def __init__(self, agenda: Agenda, trouble: Trouble, ring: Callable[[Outgoing], None]) -> None:
        """`ring` is called when a message reaches a phone."""
        self._agenda, self._trouble, self._ring = agenda, trouble, ring
        self.taken: list[Taken] = []

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Phones hand their messages to the gateway, not here."""

    def send(self, outgoing: Outgoing) -> Sent:
        """Take it, or not, or take it and not say so; the service may die while it waits."""
        trouble, clock = self._trouble, self._agenda.clock
        if trouble.strikes("throttle", 0.03):
            raise SendFailed("too many at once", permanent=False, retry_after=30.0)
        silent = trouble.strikes("timeout", 0.02)
        self.taken.append(
            Taken(clock.true, outgoing.key, outgoing.address, outgoing.text, not silent)
        )
        self._carry(outgoing)
        if trouble.die(0.002):
            raise ProcessDied
        if silent:
            raise SendUnknown("no answer")
        return Sent(f"p{len(self.taken)}")

    def answers_unheard(self, since: int, in_hand: Container[str]) -> None:
        """The process stopped: of what was taken from place `since` on, it still has these in hand,
        so their answers never got into its record."""
        for place, taken in enumerate(self.taken[since:], since):
            if taken.key in in_hand:
                self.taken[place] = replace(taken, answered=False)

    def _carry(self, outgoing: Outgoing) -> None:
        trouble, dice = self._trouble, self._trouble.dice
        if trouble.strikes("lose", 0.02):
            return
        late = dice.randrange(30, 180) if trouble.strikes("delay", 0.05) else 0
        late += dice.randrange(1, 20) if trouble.strikes("reorder", 0.05) else 0
        for _ in range(2 if trouble.strikes("double", 0.02) else 1):
            self._agenda.after(late, lambda: self._ring(outgoing))

    def trouble(self) -> str | None:
        """A simulated provider has nothing to say about itself."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""
