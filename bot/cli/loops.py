"""The loops that run beside the web page: each does its work, then sleeps until the next moment.

On PostgreSQL a call from the database ends the sleep as soon as something becomes due; without it,
and on SQLite, what another process stored is seen at the next look.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime, timedelta
from functools import partial

from sqlalchemy import Engine

from bot.service import views
from bot.store import waking
from bot.wiring import App, Clock

log = logging.getLogger(__name__)
LONGEST_SLEEP = timedelta(seconds=2)  # what another process stored is seen within this time
STALLED_AFTER = timedelta(minutes=2)  # a provider may take its time; this is longer than any does
_AFTER_FAILURE = timedelta(seconds=5)
Moment = Callable[[], datetime | None]


class Loop:
    """One job in a thread of its own. A failure is logged by its kind and the loop goes on."""

    def __init__(self, name: str, clock: Clock, work: Callable[[], object], moment: Moment) -> None:
        self.name = name
        self._clock = clock
        self._work = work
        self._moment = moment  # when there will be something to do
        self._stop = threading.Event()
        self._call = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self.beat: datetime = clock()  # when it last came round

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def wake(self) -> None:
        """End the sleep, or go round once more after what is being done."""
        self._call.set()

    def stop(self, wait: float) -> bool:
        """Finish what is being done, at most `wait` seconds; say whether it did."""
        self._stop.set()
        self._call.set()
        self._thread.join(wait)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.is_set():
            self._call.clear()  # whatever is committed by now, this round sees
            pause = self._once()
            self.beat = self._clock()
            self._call.wait(pause.total_seconds())

    def _once(self) -> timedelta:
        """Work, and say how long to sleep."""
        try:
            _tell(self.name, self._work())
            return _until(self._moment(), self._clock())
        except (
            Exception
        ) as error:  # whatever it is, patients of the next round must not wait for it
            log.error(
                "%s failed: %s; goes on in %s", self.name, type(error).__name__, _AFTER_FAILURE
            )
            self._stop.wait(_AFTER_FAILURE.total_seconds())
            return timedelta()


def _tell(name: str, done: object) -> None:
    """Log what a round did, in counts; an idle round is not worth a line."""
    if not is_dataclass(done):
        return
    found = {field.name: getattr(done, field.name) for field in fields(done)}
    counts = {n: len(v) if isinstance(v, list) else v for n, v in found.items() if v}
    if counts:
        level = logging.WARNING if "failed" in counts else logging.INFO
        log.log(level, "%s came round", name, extra={"counts": counts})


def _until(moment: datetime | None, now: datetime) -> timedelta:
    """The sleep: until the next moment, never longer than LONGEST_SLEEP, never none at all."""
    if moment is None:
        return LONGEST_SLEEP
    return min(max(moment - now, timedelta(milliseconds=50)), LONGEST_SLEEP)


class Ear(threading.Thread):
    """Wakes the loops that the database calls. A lost connection is opened again."""

    def __init__(self, engine: Engine, loops: Sequence[Loop]) -> None:
        super().__init__(name="ear", daemon=True)
        self._engine = engine
        self._loops = {loop.name: loop for loop in loops}
        self._over = threading.Event()

    def run(self) -> None:
        """Listen until `stop`."""
        while not self._over.is_set():
            try:
                self._listen()
            except Exception as error:  # the loops look of themselves meanwhile
                log.warning("not woken by the database for now: %s", type(error).__name__)
                self._over.wait(_AFTER_FAILURE.total_seconds())

    def _listen(self) -> None:
        for whom in waking.calls(self._engine, LONGEST_SLEEP.total_seconds()):
            if self._over.is_set():
                return
            if whom in self._loops:
                self._loops[whom].wake()

    def stop(self) -> None:
        """Listen no more."""
        self._over.set()


def loops_of(app: App, roles: frozenset[str]) -> list[Loop]:
    """The loops of these roles, not started yet."""
    made = (
        Loop("scheduler", app.clock, app.tick, partial(views.next_tick, app.engine)),
        Loop("relay", app.clock, app.relay, partial(views.next_relay, app.engine)),
    )
    return [loop for loop in made if loop.name in roles]


def stalled(loops: Sequence[Loop], clock: Clock) -> Callable[[], list[str]]:
    """A question for the health check: which loops have not come round for too long?"""
    return lambda: [loop.name for loop in loops if clock() - loop.beat > STALLED_AFTER]
