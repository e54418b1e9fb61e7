"""The sign of life of this process, and its look at whether the others' work goes on."""

import logging
import os
import signal
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from bot.cli.loops import Loop
from bot.config_sections import Settings
from bot.core.record import OnCall
from bot.service import watching, workers
from bot.service.practice import PAGE
from bot.wiring import App

log = logging.getLogger(__name__)
HUNG_AFTER = timedelta(minutes=15)  # no round of a loop takes as long: others take its work up


@dataclass(slots=True)
class Heart:
    """Beats while the loops go round."""

    app: App
    roles: frozenset[str]
    loops: Sequence[Loop]
    people: tuple[OnCall, ...]  # who is told of a standstill
    parent: int | None = None  # the process that copied this one, without which it ends

    def begin(self) -> Loop:
        """Write this process down; return the loop that keeps it alive, not started yet."""
        self._write_down()
        clock = self.app.clock
        return Loop("heart", clock, self.beat, lambda: clock() + workers.BEAT)

    def end(self) -> None:
        """Take this process off the list."""
        if self.app.worker is not None:
            workers.end(self.app.engine, self.app.worker)

    def beat(self) -> None:
        """Give a sign of life unless a loop hangs; look at the work; end with the parent."""
        if self.parent is not None and os.getppid() != self.parent:
            os.kill(os.getpid(), signal.SIGTERM)
        now = self.app.clock()
        hung = any(now - loop.beat > HUNG_AFTER for loop in self.loops)
        worker = self.app.worker
        if not hung and (worker is None or not workers.beat(self.app.engine, worker, now)):
            self._write_down()
        if workers.bury(self.app.engine, this_host(), is_running):
            for loop in self.loops:  # what the dead had in hand is free
                loop.wake()
        self._watch()

    def _write_down(self) -> None:
        engine, now = self.app.engine, self.app.clock()
        workers.bury(engine, this_host(), is_running)
        self.app.worker = workers.begin(engine, this_host(), os.getpid(), self.roles, now)

    def _watch(self) -> None:
        now = self.app.clock()
        found = watching.standstills(self.app.engine, now)
        for standstill in found:
            log.error("the %s stands still since %s", standstill.role, standstill.since)
        watching.tell(self.app.engine, found, self.people, now)


def this_host() -> str:
    """Where process numbers mean the same: the host, and on Linux the container on it."""
    numbers = Path("/proc/self/ns/pid")
    apart = f" {numbers.stat().st_ino}" if numbers.exists() else ""
    return f"{socket.gethostname()}{apart}"


def is_running(process: int) -> bool:
    """True while a process of this number does anything on this host."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # somebody else's
        return True
    return not _is_only_a_number(process)


def _is_only_a_number(process: int) -> bool:
    """On Linux: dead, and its parent has not asked for its fate yet."""
    with suppress(OSError):
        told = Path(f"/proc/{process}/stat").read_text()
        return told.rpartition(")")[2].split()[0] == "Z"
    return False


def people_to_tell(settings: Settings, app: App) -> tuple[OnCall, ...]:
    """Whoever the settings name, and those on the hospital's list who can be written to."""
    watch = settings.watch
    named = (OnCall(watch.name, watch.channel, watch.address),) if watch else ()
    return (*named, *(one for one in app.practice.on_call if one.channel != PAGE))
