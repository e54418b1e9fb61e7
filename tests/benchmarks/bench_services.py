"""Replies stored durably, as a ratio to the bare limit in the same run.

    .venv/bin/python tests/benchmarks/bench_services.py [patients] [replies to a commit]

The service: reading, step, state, message log and outbox row, one commit each, SQLite WAL at
synchronous=FULL. The bare limit: the very rows that those replies added, written by `sqlite3`
alone into the same tables of a fresh store, one commit for each reply. With a second number that
many replies arrive together and share a commit (the bare limit still has one for each, and is
measured a second time with as many to a commit). Both by CPU time of the process and by the wall;
on a machine that others use only the first can be compared.
"""

import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.core.protocol import Surgery
from bot.service import inbound
from bot.service.enrolment import Enrolment
from bot.store.engine import SQLITE_PRAGMAS
from bot.wiring import App, build

START = datetime(2027, 2, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", clock_time(7, 30))
WRITTEN = ("inbound", "reading", "outbound", "item", "fact", "consent", "audit")
ROUNDS = 6
TEXTS = ("1", "yes", "done", "1")


def timed(deed):
    """(CPU seconds of this process, seconds on the wall) that it took."""
    cpu, wall = time.process_time(), time.perf_counter()
    deed()
    return time.process_time() - cpu, time.perf_counter() - wall


def prepare(url, patients):
    now = [START]
    app = build(url, clock=lambda: now[0])
    app.connect(RecordingChannel(app.clock, "sms"))

    def enrol():
        for i in range(patients):
            name, phone = f"Patient Number{i}", f"phone-{i}"
            app.care.enrol(Enrolment(f"B-{i}", name, "sms", phone, KNEE, "Dr. Ana Quill"))

    return app, now, timed(enrol)


def replies(app: App, now, patients, together):
    """Answer the open question of every patient, round after round; time the replies alone."""
    spent, due_spent, due = [0.0, 0.0], 0.0, 0
    for number in range(ROUNDS):
        for _ in range(3):
            now[0] = max(now[0], app.next_moment() or now[0])
            began = time.process_time()
            done = app.run_due()
            due_spent += time.process_time() - began
            due += done.prompts + done.timers
        said = [
            Incoming("sms", f"phone-{i}", TEXTS[(number + i) % 4], f"m{number}.{i}", now[0])
            for i in range(patients)
        ]
        for start in range(0, patients, together):
            now[0] += timedelta(milliseconds=20)
            batch = said[start : start + together]
            took = timed(lambda batch=batch: hand_in(app, batch, now[0]))
            spent = [a + b for a, b in zip(spent, took, strict=True)]
    return spent, due_spent, due


def hand_in(app, batch, now):
    """One by one as a channel does, or as those who wait for their turn are joined."""
    if len(batch) == 1:
        app.handle(batch[0])
    elif any(inbound.handle_all(app.practice, batch, now)):
        raise RuntimeError("a reply failed")


def bare(path, target, replies, together):
    """Write the rows that the replies added, as many to a commit as one reply adds."""
    with closing(sqlite3.connect(path)) as old:
        tables = {t: old.execute(f"SELECT * FROM {t}").fetchall() for t in WRITTEN}
        chats = old.execute("SELECT body, patient_id FROM conversation").fetchall()
        old.execute("VACUUM INTO ?", (str(target),))
    with closing(sqlite3.connect(target, isolation_level=None)) as new:
        for pragma in SQLITE_PRAGMAS:
            new.execute(pragma)
        new.execute("PRAGMA foreign_keys=OFF")
        for name in new.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
            new.execute(f'DROP TRIGGER "{name[0]}"')
        for table in WRITTEN:
            new.execute(f"DELETE FROM {table}")

        def write():
            for n in range(replies):
                if n % together == 0:
                    new.execute("BEGIN IMMEDIATE")
                write_one(new, tables, chats[n % len(chats)], n, replies)
                if n % together == together - 1 or n == replies - 1:
                    new.execute("COMMIT")

        return timed(write), sum(map(len, tables.values())) / replies + 1


def write_one(new, tables, chat, n, replies):
    """The rows of the nth reply."""
    new.execute("UPDATE conversation SET body=?, version=version+1 WHERE patient_id=?", chat)
    for table, rows in tables.items():
        first, last = len(rows) * n // replies, len(rows) * (n + 1) // replies
        for row in rows[first:last]:
            marks = ",".join("?" * len(row))
            new.execute(f"INSERT INTO {table} VALUES ({marks})", row)


def main(patients, together):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "service.db"
        app, now, enrolled = prepare(f"sqlite:///{path}", patients)
        spent, due_spent, due = replies(app, now, patients, together)
        app.close()
        count = patients * ROUNDS
        limit, rows = bare(path, Path(folder) / "bare.db", count, 1)
        joined, _ = bare(path, Path(folder) / "joined.db", count, together)
    print(f"{count} replies of {patients} patients, {rows:.1f} rows each, {together} to a commit")
    print(f"{'':24}{'per CPU second':>16}{'per wall second':>18}")
    print(f"{'service':24}{count / spent[0]:16.0f}{count / spent[1]:18.0f}")
    print(f"{'bare sqlite3':24}{count / limit[0]:16.0f}{count / limit[1]:18.0f}")
    if together > 1:
        print(f"{'bare, shared commits':24}{count / joined[0]:16.0f}{count / joined[1]:18.0f}")
    print(f"{'ratio to bare sqlite3':24}{limit[0] / spent[0]:16.1%}{limit[1] / spent[1]:18.1%}")
    print(f"enrolments per CPU second: {patients / enrolled[0]:.0f}")
    print(f"due prompts and timers per CPU second, sending included: {due / due_spent:.0f}")


if __name__ == "__main__":
    given = [int(each) for each in sys.argv[1:]]
    main(*given, *(50, 1)[len(given) :])
