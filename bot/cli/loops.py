"""The loops that run beside the web page: each does its work, then sleeps until the next moment."""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime, timedelta

from bot.wiring import App, Clock

log = logging.getLogger(__name__)
LONGEST_SLEEP = timedelta(seconds=2)  # what another process stored is seen within this time
STALLED_AFTER = timedelta(minutes=2)  # a provider may take its time; this is longer than any does
_AFTER_FAILURE = timedelta(seconds=5)


class Loop:
    """One job in a thread of its own. A failure is logged by its kind and the loop goes on."""

    def __init__(self, name: str, app: App, work: Callable[[], object]) -> None:
        self.name = name
        self._app = app
        self._work = work
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self.beat: datetime = app.clock()  # when it last came round

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, wait: float) -> bool:
        """Finish what is being done, at most `wait` seconds; say whether it did."""
        self._stop.set()
        self._thread.join(wait)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.is_set():
            pause = self._once()
            self.beat = self._app.clock()
            self._stop.wait(pause.total_seconds())

    def _once(self) -> timedelta:
        """Work, and say how long to sleep."""
        try:
            _tell(self.name, self._work())
            return _until(self._app.next_moment(), self._app.clock())
        except (
            Exception
        ) as error:  # whatever it is, patients of the next round must not wait for it
            log.error(
                "%s failed: %s; goes on in %s", self.name, type(error).__name__, _AFTER_FAILURE
            )
            return _AFTER_FAILURE


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


def loops_of(app: App, roles: frozenset[str]) -> list[Loop]:
    """The loops of these roles, not started yet."""
    work: Mapping[str, Callable[[], object]] = {"scheduler": app.tick, "relay": app.relay}
    return [Loop(name, app, job) for name, job in work.items() if name in roles]


def stalled(loops: list[Loop], clock: Clock) -> Callable[[], list[str]]:
    """A question for the health check: which loops have not come round for too long?"""
    return lambda: [loop.name for loop in loops if clock() - loop.beat > STALLED_AFTER]
