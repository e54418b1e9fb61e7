"""A peer program started by a test: its JSON lines out, our JSON lines in."""

import json
import os
import queue
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import pytest

PEERS = Path(__file__).parent / "peers"


def absent(what: str, how: str) -> NoReturn:
    """Skips with one clear line; in CI a missing peer is a failure."""
    line = f"{what} is not here: {how}"
    if os.environ.get("CI") == "true":
        pytest.fail(line, pytrace=False)
    pytest.skip(line)


def free_port() -> int:
    """A port of this machine that nothing listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def until(what: str, true: Callable[[], Any], seconds: float = 10.0) -> Any:
    """Waits until `true()` is truthy and returns it; fails with `what` after `seconds`."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        value = true()
        if value:
            return value
        time.sleep(0.01)
    raise AssertionError(f"not within {seconds} s: {what}")


class PeerProcess:
    """A child process that writes one line per event."""

    def __init__(self, command: list[str]) -> None:
        self.events: list[dict[str, Any]] = []
        self._lines: queue.Queue[str] = queue.Queue()
        self._process = subprocess.Popen(
            command,
            cwd=PEERS,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout
        for line in self._process.stdout:
            self._lines.put(line)
            if line.startswith("{"):
                self.events.append(json.loads(line))

    def wait_ready(self) -> None:
        """Returns once the program says that it listens."""
        line = self._lines.get(timeout=15)
        assert "ready" in line, line

    def tell(self, **order: Any) -> None:
        """Writes one command; returns once the program has obeyed it."""
        assert self._process.stdin
        before = len(self.seen("told"))
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        until(f"the peer obeys {list(order)}", lambda: len(self.seen("told")) > before)

    def seen(self, event: str) -> list[dict[str, Any]]:
        """The events of one kind so far."""
        return [kept for kept in self.events if kept.get("event") == event]

    def stop(self) -> None:
        """Ends the program that this object started."""
        self._process.terminate()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(5)
