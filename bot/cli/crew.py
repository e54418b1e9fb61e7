"""Several processes from one: code and content are loaded once, and whoever dies is replaced."""

import os
import signal
import time
from collections.abc import Callable, Sequence
from types import FrameType

import typer

_TOO_SHORT = 5.0  # seconds: who dies sooner is replaced with a pause, so that a fault cannot spin
_PAUSE = 1.0


class Crew:
    """`count` copies of this process, each doing `work`, until this one is told to end."""

    def __init__(self, count: int, work: Callable[[], None], patience: float) -> None:
        self._count = count
        self._work = work
        self._patience = patience
        self._members: dict[int, float] = {}  # process -> when it began
        self._over = False

    def run(self) -> None:
        """Begin them, replace whoever dies, and at the end wait for all."""
        signal.signal(signal.SIGTERM, self._end)
        signal.signal(signal.SIGINT, self._end)
        signal.signal(signal.SIGALRM, self._lose_patience)
        self._replace(())
        while self._members:
            self._replace(self._dead())

    def _dead(self) -> list[float]:
        """Wait for a death; return when each of those that are dead by now had begun."""
        found = []
        process, _ = os.wait()
        while process:
            began = self._members.pop(process, None)
            if began is not None:
                found.append(began)
                if not self._over:
                    typer.echo(f"Process {process} died; another takes its place.", err=True)
            process = os.waitpid(-1, os.WNOHANG)[0] if self._members else 0
        return found

    def _replace(self, began: Sequence[float]) -> None:
        if not self._over and any(time.monotonic() - each < _TOO_SHORT for each in began):
            time.sleep(_PAUSE)
        while len(self._members) < self._count and not self._over:
            self._begin_one()

    def _begin_one(self) -> None:
        """The copy never returns from here."""
        signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGTERM, signal.SIGINT))
        process = os.fork()
        if process:
            self._members[process] = time.monotonic()
            signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
            return
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.signal(
            signal.SIGINT, signal.SIG_IGN
        )  # Ctrl-C reaches us too: the first one tells us
        signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
        code = 1
        try:
            self._work()
            code = 0
        except Exception as error:  # its words may quote a patient
            typer.echo(f"Process {os.getpid()} failed: {type(error).__name__}", err=True)
        finally:
            os._exit(code)

    def _end(self, _signal: int, _frame: FrameType | None) -> None:
        self._over = True
        signal.alarm(int(self._patience))
        self._tell_all(signal.SIGTERM)

    def _lose_patience(self, _signal: int, _frame: FrameType | None) -> None:
        self._tell_all(signal.SIGKILL)

    def _tell_all(self, what: signal.Signals) -> None:
        for process in list(self._members):
            os.kill(process, what)
