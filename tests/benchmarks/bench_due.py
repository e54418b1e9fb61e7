"""What a due prompt costs, and for how long a batch holds its patients, by the size of a batch.

    .venv/bin/python tests/benchmarks/bench_due.py [sqlite | postgresql] [patients to a commit ...]

400 prompts of 400 patients are due at one moment and 23,000 are to come; they are handled, sent to a
channel that takes them at once and stored as sent. Each size has a fresh copy of the store, and the
sizes are taken in turn, so that a busy machine treats all alike; the first round, in
which statements are compiled, is left out. CPU milliseconds are for each prompt, the server's apart.
"""

import os
import sqlite3
import statistics
import sys
import tempfile
import time
from contextlib import closing, contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "peers"))

import copied_patients
import due
import due_service
import measured
import postgres_server

from bot.channels.recording import RecordingChannel
from bot.cli.memory import keep_loaded
from bot.service import rounds
from bot.wiring import build

ROUNDS = 3


@contextmanager
def stores(kind, filled):
    """Gives a maker of (address of a copy of the filled store, CPU seconds of its server)."""
    with tempfile.TemporaryDirectory() as folder:
        if kind == "sqlite":
            yield lambda name: (_copied(filled, f"{folder}/{name}.db"), lambda: 0.0)
            return
        with postgres_server.running(folder) as (fresh, server):

            def copy(_name):
                url = fresh().replace("postgresql:", "postgresql+psycopg:")
                due_service.copy(filled, url)
                return url, lambda: measured.seconds_of_processes(server)

            yield copy


def _copied(filled, target):
    with closing(sqlite3.connect(filled)) as store:
        store.execute("VACUUM INTO ?", (target,))
    return f"sqlite:///{target}"


def handle(url, used, size):
    """(CPU ms of the tick, of the relay, of the server for both, ms a batch was held, the longest)."""
    rounds.TOGETHER = rounds.FEWER = size
    app = build(url, clock=lambda: copied_patients.DUE)
    channel = RecordingChannel(app.clock, "sms")
    app.connect(channel)
    keep_loaded()
    ticked, relayed, held = {}, {}, []
    with held_into(held):
        with measured.timed(ticked):
            before = used()
            done = app.tick().prompts
        with measured.timed(relayed):
            app.relay()
        served = used() - before
    app.close()
    if not done == len(channel.sent) == due.DUE:
        raise RuntimeError(f"{done} prompts handled, {len(channel.sent)} sent")
    full = sorted(held)[-(due.DUE // size) :]  # rounds that find nothing are short
    spent = (ticked["cpu"], relayed["cpu"], served)
    return *(each / done * 1000 for each in spent), statistics.median(full), full[-1]


@contextmanager
def held_into(held):
    """Note how long each transaction of the scheduler's rounds lasts."""
    real = rounds.writing

    @contextmanager
    def writing(engine):
        began = time.perf_counter()
        with real(engine) as connection:
            yield connection
        held.append((time.perf_counter() - began) * 1000)

    rounds.writing = writing
    yield
    rounds.writing = real


def main(kind="sqlite", *sizes):
    sizes = [int(size) for size in sizes] or [1, 10, 20, 50, 100]
    found = {size: [] for size in sizes}
    print(f"load {os.getloadavg()[0]:.1f} at the start; {kind}")
    with tempfile.TemporaryDirectory() as folder:
        filled = Path(folder) / "filled.db"
        copied_patients.fill(filled, due.PATIENTS, due.DUE)
        with stores(kind, filled) as fresh:
            for turn in range(ROUNDS):
                for size in sizes:
                    found[size].append(handle(*fresh(f"{turn}-{size}"), size))
    print(f"{'to a commit':>12}{'tick':>8}{'relay':>8}{'server':>8}{'held, ms':>10}{'longest':>9}")
    for size in sizes:
        figures = [statistics.median(each) for each in zip(*found[size][1:], strict=True)]
        print(f"{size:12}" + "{:8.2f}{:8.2f}{:8.2f}{:10.0f}{:9.0f}".format(*figures))
    print(f"load {os.getloadavg()[0]:.1f} at the end")


if __name__ == "__main__":
    main(*sys.argv[1:])
