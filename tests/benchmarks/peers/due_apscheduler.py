"""Due jobs of APScheduler's SQLAlchemy store, in SQLite with WAL and synchronous=FULL.

Jobs run in the scheduler's own thread (its DebugExecutor), which is the fastest of its ways here.
"""

import sqlite3
import tempfile
import threading
from datetime import UTC, datetime

import due
import measured
from apscheduler.events import EVENT_JOB_REMOVED
from apscheduler.executors.debug import DebugExecutor
from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from sqlalchemy import create_engine, event

PAST, FUTURE = datetime(2020, 1, 1, tzinfo=UTC), datetime(2099, 1, 1, tzinfo=UTC)
OUTBOX = []  # the connection that jobs write their message with; none: scheduling alone
DURABLE = ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL")
FAST = ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=OFF")  # while jobs are being put in


def deliver(number):
    """One due prompt: its message is worded, sent, and stored as sent in one commit."""
    for connection in OUTBOX:
        row = due.sent_message(number)
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(f"INSERT INTO sent VALUES ({','.join('?' * len(row))})", row)
        connection.execute("COMMIT")


def scheduler_on(engine):
    made = BackgroundScheduler(timezone="UTC")
    made.add_jobstore(SQLAlchemyJobStore(engine=engine))
    made.add_executor(DebugExecutor())
    made.start(paused=True)
    return made


def put_in(scheduler):
    for number in range(due.DUE + due.BACKLOG):
        scheduler.add_job(
            deliver, "date", run_date=PAST if number < due.DUE else FUTURE, args=[number],
            id=str(number), misfire_grace_time=None,
        )  # fmt: skip


def open_outbox(path):
    OUTBOX.append(sqlite3.connect(path, isolation_level=None, check_same_thread=False))
    for pragma in DURABLE:
        OUTBOX[0].execute(pragma)
    OUTBOX[0].execute(f"CREATE TABLE sent ({due.COLUMNS})")


def fire(scheduler):
    """Let every due job run and be removed from the store."""
    found, all_done = {"done": 0}, threading.Event()

    def count(_event):
        found["done"] += 1
        if found["done"] == due.DUE:
            all_done.set()

    scheduler.add_listener(count, EVENT_JOB_REMOVED)
    with measured.timed(found):
        scheduler.resume()
        all_done.wait()
    scheduler.shutdown()
    return found


def main(with_message):
    with tempfile.TemporaryDirectory() as folder:
        path, pragmas = f"{folder}/jobs.db", list(FAST)
        engine = create_engine(f"sqlite:///{path}")

        @event.listens_for(engine, "connect")
        def set_pragmas(connection, _record):
            for pragma in pragmas:
                connection.execute(pragma)

        scheduler = scheduler_on(engine)
        put_in(scheduler)
        pragmas[:] = DURABLE
        engine.dispose()  # connections from now on are durable ones
        if with_message:
            open_outbox(path)
        found = fire(scheduler)
        for connection in OUTBOX:
            found["stored"] = connection.execute("SELECT count(*) FROM sent").fetchone()[0]
    measured.tell(**found)


if __name__ == "__main__":
    main(measured.given()["with_message"])
