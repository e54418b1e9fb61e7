"""The terminal as a channel: messages are written out, typed lines come in."""

from collections.abc import Callable

from bot.channels.base import Clock, Incoming, OnDelivery, OnIncoming, Outgoing, Sent
from bot.channels.form import numbered


class TerminalChannel:
    """Writes each message with its choices numbered; `typed` hands in what the person wrote."""

    def __init__(self, clock: Clock, write: Callable[[str, str], None]) -> None:
        """`write` gets (address, text) for each message."""
        self._clock = clock
        self._write = write
        self._count = 0
        self._on_incoming: OnIncoming | None = None

    @property
    def name(self) -> str:
        """Always "terminal"."""
        return "terminal"

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Keeps the callback; what is written to a terminal needs no receipt."""
        self._on_incoming = on_incoming

    def send(self, outgoing: Outgoing) -> Sent:
        """Writes the message. A terminal takes everything."""
        self._count += 1
        self._write(outgoing.address, numbered(outgoing))
        return Sent(f"terminal-{self._count}")

    def typed(self, address: str, text: str, by: str | None = None) -> None:
        """Hands in one typed line."""
        if self._on_incoming is None:
            raise RuntimeError("the terminal channel is not started: call start() first")
        self._count += 1
        number = f"terminal-{self._count}"
        self._on_incoming(Incoming(self.name, address, text, number, self._clock(), by))

    def trouble(self) -> str | None:
        """A terminal that runs has no trouble."""
        return None

    def close(self) -> None:
        """Takes no more lines."""
        self._on_incoming = None
