"""What can go wrong in a simulated run, and how a process is made to die at a commit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol

from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import OperationalError

NAMES = (
    "lose", "delay", "double", "reorder", "timeout", "throttle",
    "crash", "busy", "clock", "outage",
)  # fmt: skip
STEP = timedelta(hours=2)  # how far the wall clock is set wrong


class Dice(Protocol):
    """The chance of a run; the same seed throws the same."""

    def random(self) -> float:
        """A number from 0 up to 1."""
        ...

    def randrange(self, start: int, stop: int) -> int:
        """A whole number from `start` up to but not with `stop`."""
        ...

    def choice(self, seq: Sequence[Any]) -> Any:  # noqa: ANN401
        """One of several."""
        ...


class ProcessDied(BaseException):
    """The process is gone. Not an Exception: nothing may catch it and go on."""


class Endless(BaseException):
    """One round of the service went on and on: it would never have come back."""


@dataclass(slots=True)
class Trouble:
    """Which faults are in force, how often they strike, and how often they did."""

    names: frozenset[str]
    dice: Dice
    on: bool = True  # off in the last stretch, in which everything must come right
    rate: float = 1.0  # how many times as often as usual
    crashes: int = 0
    busy: int = 0
    parts: int = 0  # savepoints of the present transaction: patients who share its commit
    begun: int = 0  # transactions of the present round
    most: int = 500  # of them; a sound round needs a few for each patient

    def strikes(self, name: str, chance: float) -> bool:
        """Throw the dice for one fault."""
        return self.on and name in self.names and self.dice.random() < chance * self.rate

    def die(self, chance: float) -> bool:
        """Throw the dice for the process's death; the caller raises ProcessDied."""
        dies = self.strikes("crash", chance)
        self.crashes += dies
        return dies


def attach(engine: Engine, trouble: Trouble) -> None:
    """Make the engine's transactions fail now and then; synced files are of no use here."""
    event.listen(engine, "connect", lambda raw, _record: _connect(raw, trouble))
    event.listen(engine, "begin", lambda connection: _begin(connection, trouble))
    event.listen(engine, "commit", lambda connection: _commit(connection, trouble))


def _connect(raw: Any, trouble: Trouble) -> None:  # noqa: ANN401
    def count(statement: str) -> None:
        trouble.parts += statement.startswith("SAVEPOINT")

    raw.execute("PRAGMA synchronous=OFF")  # a process dies here, never the machine
    raw.set_trace_callback(count)


def _writes(connection: Connection) -> bool:
    return connection.get_execution_options().get("sqlite_begin") != "DEFERRED"


def _begin(connection: Connection, trouble: Trouble) -> None:
    trouble.begun, trouble.parts = trouble.begun + 1, 0
    if trouble.begun > trouble.most:
        raise Endless(trouble.begun)
    if _writes(connection) and trouble.strikes("busy", 0.004):
        trouble.busy += 1
        raise OperationalError("BEGIN", {}, Exception("database is locked"))


def _commit(connection: Connection, trouble: Trouble) -> None:
    """Die before or after the commit: in the second case the caller never hears that it worked.

    The more patients share a commit the more often it strikes, as if each had one of their own.
    """
    if not _writes(connection) or not trouble.die(0.01 * max(trouble.parts, 1)):
        return
    if trouble.dice.random() < 0.5:
        raw: Any = connection.connection.driver_connection
        raw.execute("COMMIT")
    raise ProcessDied


@dataclass(slots=True)
class WallClock:
    """The true time of the run, and the time that the process believes in."""

    true: datetime
    wrong_by: timedelta = timedelta()

    def __call__(self) -> datetime:
        """What the process reads."""
        return self.true + self.wrong_by
