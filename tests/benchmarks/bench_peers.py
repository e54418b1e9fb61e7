"""This service beside other libraries that do the same work, and beside the bare limit; one run.

    .venv/bin/python tests/benchmarks/peers/packages.py     # once: the peers' packages
    .venv/bin/python tests/benchmarks/bench_peers.py [replies] [prompts]

Replies: 2,000 conversations in the store, the service's own first four questions, each reply read
by the same reader and stored durably (SQLite WAL with synchronous=FULL; a pickle flushed and
fsynced; Redis with appendfsync always). Due prompts: 400 due, 23,000 to come; claimed, worded, sent
to nowhere and stored as sent. Each case is a process of its own; CPU seconds are its own and its
server's. What differs between the sides is printed with the figures, and stands in
docs/performance.md.
"""

import os
import platform
import sqlite3
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "peers"))

import dialogue
import measured
import packages
import postgres_server
import redis_server

WRITING, WRITING_PICKLED = 200, 10  # conversations that write; a pickle takes too long for more
ABOUT = ("python-telegram-bot", "SQLAlchemy", "psycopg")


def about():
    """The machine, its load and the versions."""
    model = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines()
         if line.startswith("model name")), platform.processor(),
    )  # fmt: skip
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    print(f"{model}, {os.cpu_count()} cores, load average {load}")
    told = [f"Python {platform.python_version()}", f"SQLite {sqlite3.sqlite_version}"]
    told += [f"{name} {version(name)}" for name in ABOUT]
    print(", ".join(told + [f"{name} {packages.version(name)}" for name in packages.PINNED]))


class Table:
    """Cases of one kind of work, printed as they come, each with its ratio to the first."""

    def __init__(self, title):
        print(f"\n{title}")
        print(f"{'':52}{'per CPU s':>11}{'per wall s':>12}{'service is x':>16}{'(wall)':>9}")
        self.first = None

    def add(self, name, found):
        """Print one case: how many in a second, and how many times the service does as many."""
        rates = found["done"] / found["cpu"], found["done"] / found["wall"]
        self.first = self.first or rates
        by_cpu, by_wall = (a / b for a, b in zip(self.first, rates, strict=True))
        print(
            f"{name:52}{rates[0]:>11,.0f}{rates[1]:>12,.0f}{by_cpu:>16.2f}{by_wall:>9.2f}",
            flush=True,
        )


def missing(*names):
    """Say in one line what keeps a peer out; True when something does."""
    lacking = [name for name in names if packages.version(name) is None]
    if lacking:
        print(f"left out: {', '.join(lacking)} not installed: {packages.HOW}")
    return bool(lacking)


def replies():
    """Replies stored durably."""
    steps = dialogue.taken_down()
    each, joined = {"together": 1, "bare": True}, {"together": 50, "bare": False}
    table = Table(f"Replies stored durably, {dialogue.CONVERSATIONS:,} conversations")
    found = measured.run("reply_service", {**each, "writing": WRITING})
    table.add("service, one commit each", found)
    bare = {"done": found["done"], **found["bare"]}
    table.add(f"bare sqlite3, the same {bare['rows']:.1f} rows", bare)
    for whole_log, what in ((True, "the same payload"), (False, "without a log of what was said")):
        told = {"steps": steps, "whole_log": whole_log, "writing": WRITING_PICKLED}
        table.add(f"ConversationHandler, {what}", measured.run("reply_telegram", told))
    told = {"steps": steps, "writing": WRITING}
    on_redis(table, {**told, "together": 1}, "aiogram FSM on Redis, one at a time")
    table = Table("The same where 50 replies arrive together")
    table.add("service", measured.run("reply_service", {**joined, "writing": WRITING}))
    on_redis(table, {**told, "together": 50}, "aiogram FSM on Redis")


def on_redis(table, told, name):
    if not redis_server.is_here():
        print(f"left out: {redis_server.ABSENT}")
    elif not missing("aiogram", "redis"):
        table.add(name, measured.run("reply_aiogram", told, peers=True))


def prompts():
    """Due prompts claimed, sent and stored as sent."""
    table = Table("Due prompts, each worded, sent and stored as sent")
    found = measured.run("due_service", {"url": None, "server": None})
    table.add("service on SQLite", found)
    table.add("bare sqlite3, the same rows, one commit each", found["bare"])
    table.add("bare sqlite3, the same rows, 50 to a commit", found["batches"])
    here = not missing("APScheduler")
    if here:
        told = {"with_message": True}
        table.add("APScheduler, SQLite", measured.run("due_apscheduler", told, peers=True))
    with (
        tempfile.TemporaryDirectory() as folder,
        postgres_server.running(folder) as (fresh, server),
    ):
        on_postgresql(table, fresh, server)
    table = Table("The claims alone: nothing worded, nothing sent")
    table.add("service on SQLite", found["claims"])
    if here:
        told = {"with_message": False}
        table.add(
            "APScheduler, SQLite, empty jobs", measured.run("due_apscheduler", told, peers=True)
        )


def on_postgresql(table, fresh, server):
    url = fresh()
    print(
        "PostgreSQL: " + ", ".join(" ".join(pair) for pair in postgres_server.durable(url).items())
    )
    told = {"url": url.replace("postgresql:", "postgresql+psycopg:"), "server": server}
    table.add("service on PostgreSQL", measured.run("due_service", told))
    if missing("procrastinate"):
        return
    for concurrency in (1, 10):
        told = {
            "url": fresh(), "server": server, "concurrency": concurrency, "with_message": True
        }  # fmt: skip
        name = f"procrastinate, PostgreSQL, {concurrency} at a time"
        table.add(name, measured.run("due_procrastinate", told, peers=True))


if __name__ == "__main__":
    about()
    for part in sys.argv[1:] or ("replies", "prompts"):
        {"replies": replies, "prompts": prompts}[part]()
