"""The invented people's phones: a channel whose provider is one append-only file.

What a phone got and wrote stands in the file, each line synced to disk before anyone goes on. The
file takes a message with the same key only once, as a provider with idempotency keys does. So a
story that is killed at any point can go on where it was.
"""

import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from bot.channels.base import OnDelivery, OnIncoming, Outgoing, SendFailed, Sent

NAME = "terminal"


@dataclass(frozen=True, slots=True)
class Slip:
    """One line of the file: a message that a phone got, or one that was written on it."""

    key: str
    at: str  # ISO 8601, UTC
    address: str
    text: str
    choices: tuple[str, ...] = ()
    written: bool = False

    @property
    def when(self) -> datetime:
        """The time as a value."""
        return datetime.fromisoformat(self.at)


class Phones:
    """All phones of a story. The virtual time of a delivery is told with `set_time`."""

    name = NAME

    def __init__(self, path: Path, lost: frozenset[str] = frozenset()) -> None:
        """`lost` are addresses that no message reaches."""
        self._path, self._lost = path, lost
        self._slips: dict[str, Slip] = {slip.key: slip for slip in _read(path)}
        self._now: datetime | None = None

    @property
    def slips(self) -> tuple[Slip, ...]:
        """Everything so far, in the order in which it happened."""
        return tuple(self._slips.values())

    def set_time(self, now: datetime) -> None:
        """Say what time it is in the story."""
        self._now = now

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Nothing to connect to."""

    def send(self, outgoing: Outgoing) -> Sent:
        """Deliver at once; the same key again changes nothing."""
        if outgoing.address in self._lost:
            raise SendFailed("this number is not in service", permanent=True)
        self._keep(outgoing.key, outgoing.address, outgoing.text, outgoing.choices)
        return Sent(outgoing.key)

    def write(self, key: str, address: str, text: str) -> Slip:
        """Keep what somebody wrote; the same key again gives the first."""
        return self._keep(key, address, text, written=True)

    def trouble(self) -> str | None:
        """A file is always there."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""

    def _keep(
        self,
        key: str,
        address: str,
        text: str,
        choices: tuple[str, ...] = (),
        *,
        written: bool = False,
    ) -> Slip:
        known = self._slips.get(key)
        if known is not None:
            return known
        if self._now is None:
            raise RuntimeError("set_time comes before the first message")
        slip = Slip(key, self._now.isoformat(), address, text, choices, written)
        with self._path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(slip), ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())
        self._slips[key] = slip
        return slip


def _read(path: Path) -> Iterator[Slip]:
    """The slips in the file. A last line cut off by a crash was never acknowledged: drop it."""
    if not path.exists():
        return
    whole, _, rest = path.read_text(encoding="utf-8").rpartition("\n")
    if rest:
        path.write_text(whole + "\n" if whole else "", encoding="utf-8")
    for line in whole.splitlines():
        body = json.loads(line)
        yield Slip(**{**body, "choices": tuple(body["choices"])})
