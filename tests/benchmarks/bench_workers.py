"""Several processes on one PostgreSQL: how much more they do than one.

    .venv/bin/python tests/benchmarks/bench_workers.py [patients] [rounds]

Three measurements, each with fresh patients, the numbers of processes taken in turn in every round
so that a busy machine treats all alike; the medians are printed, with the load and the CPU time of the
processes and of the database, which a busy machine changes less than the wall:

1. due prompts handled and their messages sent, 1, 2 and 4 workers (scheduler and relay in each, as
   `countdown serve` runs them), against a provider that answers at once and one that takes 50 ms;
2. replies stored with all their effects, 1 and 8 connections, one process each;
3. the bare limit of this machine: rows like those of a reply (one lock, 6 inserts, one update, one
   commit) written by `psycopg` alone, 1 and 8 connections.

The processes are forked from this one, so that loading the code is in no figure.
"""

import contextlib
import gc
import multiprocessing
import os
import resource
import statistics
import sys
import time
from dataclasses import dataclass
from datetime import time as clock_time
from datetime import timedelta
from pathlib import Path

import psycopg
from sqlalchemy import text

sys.path.insert(0, str(Path(__file__).parents[1] / "cli"))
from worker_rig import Database

from bot.channels.base import Incoming, Outgoing, Sent
from bot.core.protocol import Surgery
from bot.service import workers
from bot.service.enrolment import Enrolment
from bot.wiring import App, build

FORK = multiprocessing.get_context("fork")
TEXTS = ("1", "yes", "done", "what is this")
TIMES = 8  # replies of each patient
BARE = 400  # commits of each connection of the bare limit


class Provider:
    """A channel that takes a message after a pause, as a gateway does."""

    name = "sms"

    def __init__(self, pause):
        self.pause = pause

    def start(self, on_incoming, on_delivery):
        pass

    def send(self, outgoing: Outgoing) -> Sent:
        time.sleep(self.pause)
        return Sent(outgoing.key)

    def trouble(self):
        return None

    def close(self):
        pass


@dataclass(frozen=True)
class Figure:
    """What some processes did together."""

    done: int
    wall: float
    cpu: float  # of the processes themselves
    database: float = 0.0  # CPU seconds of the server meanwhile

    @property
    def rate(self):
        return self.done / self.wall


def spent_by(postmaster):
    """CPU seconds of a server's processes: those that live and those that ended."""

    def ticks(process):
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        return sum(map(int, fields[11:15]))

    children = Path(f"/proc/{postmaster}/task/{postmaster}/children").read_text().split()
    total = ticks(postmaster)
    for child in children:
        with contextlib.suppress(OSError):
            total += ticks(child)
    return total / os.sysconf("SC_CLK_TCK")


def together(count, work, postmaster):
    """Let `count` processes begin `work(number)` at the same moment; it returns what it did."""
    gc.collect()
    gc.freeze()
    gate, results = FORK.Barrier(count + 1), FORK.Queue()
    crew = [FORK.Process(target=_one, args=(gate, results, work, n)) for n in range(count)]
    for process in crew:
        process.start()
    before = spent_by(postmaster)
    gate.wait()
    began = time.perf_counter()
    found = [results.get() for _ in crew]
    wall = time.perf_counter() - began
    served = spent_by(postmaster) - before
    for process in crew:
        process.join()
    return Figure(sum(done for done, _ in found), wall, sum(cpu for _, cpu in found), served)


def _one(gate, results, work, number):
    prepare, act = work
    with_it = prepare(number)
    gate.wait()
    before = time.process_time()
    results.put((act(with_it, number), time.process_time() - before))


def enrol(app: App, first, count):
    today = app.clock().date()
    for n in range(first, first + count):
        surgery = Surgery(
            "knee", "left", today + timedelta(days=28), "America/New_York", clock_time(7, 30)
        )
        wish = Enrolment(
            f"B-{n}", f"Patient {n}", "sms", f"phone-{n}", surgery, "Dr. Ana Quill", agreed="paper"
        )
        app.care.enrol(wish)


def sql(app, statement, **values):
    with app.engine.begin() as connection:
        return connection.execute(text(statement), values)


def put_away(app):
    """Nothing of earlier measurements is due any more."""
    sql(app, "UPDATE planned_prompt SET state = 'skipped' WHERE state = 'planned'")
    sql(app, "UPDATE outbound SET state = 'withdrawn' WHERE state IN ('queued', 'claimed')")
    sql(app, "UPDATE conversation SET wake_at = NULL")
    sql(app, "UPDATE escalation SET deadline_at = NULL")


class Measured:
    """The service on one PostgreSQL, and how many patients it has."""

    def __init__(self, url, postmaster):
        self.app = build(url)
        self.postmaster = postmaster
        self.patients = 0
        self.warm()

    def warm(self):
        """Let this process meet every statement once, so that no forked one has to build it."""
        first = self.add(4)
        self.app.channels["sms"] = Provider(0)
        self.app.worker = workers.begin(self.app.engine, "bench", 0, ("relay",), self.app.clock())
        self.app.run_due()
        for turn, said in enumerate(TEXTS * 2):
            for n in range(first, self.patients):
                given = Incoming("sms", f"phone-{n}", said, f"w{n}.{turn}", self.app.clock())
                self.app.handle(given)
            self.app.run_due()

    def add(self, count):
        first = self.patients
        enrol(self.app, first, count)
        self.patients += count
        return first

    def fork(self, count, work):
        self.app.engine.dispose()  # no connection may be used on both sides of a fork
        return together(count, work, self.postmaster)

    def due_work(self, count, patients, pause):
        """Due prompts of `patients`, handled and sent by `count` workers."""
        put_away(self.app)
        self.add(patients)
        app = self.app

        def prepare(number):
            app.channels["sms"] = Provider(pause)
            app.worker = workers.begin(app.engine, "bench", number, ("relay",), app.clock())
            return app

        def act(app, _number):
            done = 0
            while True:
                workers.beat(app.engine, app.worker, app.clock())
                ticked, relayed = app.tick(), app.relay()
                done += relayed.sent
                if not ticked.busy and not relayed.sent:
                    return done

        return self.fork(count, (prepare, act))

    def replies(self, count, patients):
        """TIMES replies of each of `patients`, shared among `count` connections."""
        put_away(self.app)
        first = self.add(patients)
        self.app.channels["sms"] = Provider(0)
        self.app.run_due()
        app = self.app

        def prepare(number):
            sql(app, "SELECT 1")
            return range(first + number, first + patients, count)

        def act(own, _number):
            for turn in range(TIMES):
                for n in own:
                    said = TEXTS[(turn + n) % len(TEXTS)]
                    app.handle(Incoming("sms", f"phone-{n}", said, f"m{n}.{turn}", app.clock()))
            return TIMES * len(own)

        return self.fork(count, (prepare, act))


def bare(url, postmaster, count):
    """Commits of rows like a reply's by the driver alone."""
    plain = url.replace("+psycopg", "")
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute("DROP TABLE IF EXISTS bare_row, bare_head")
        connection.execute("CREATE TABLE bare_head (id int PRIMARY KEY, body text, version int)")
        connection.execute(
            "CREATE TABLE bare_row (id serial PRIMARY KEY, head int REFERENCES bare_head,"
            " kind int, body text, at timestamptz DEFAULT now())"
        )
        connection.execute("CREATE INDEX ON bare_row (head)")
        connection.execute("INSERT INTO bare_head SELECT n, '', 0 FROM generate_series(0, 799) n")

    def act(connection, number):
        for turn in range(BARE):
            head = number * 100 + turn % 100
            with connection.transaction():
                connection.execute("SELECT id FROM bare_head WHERE id = %s FOR UPDATE", (head,))
                for kind in range(6):
                    connection.execute(
                        "INSERT INTO bare_row (head, kind, body) VALUES (%s, %s, %s)",
                        (head, kind, "x" * 200),
                    )
                connection.execute(
                    "UPDATE bare_head SET body = %s, version = version + 1 WHERE id = %s",
                    ("y" * 600, head),
                )
        return BARE

    return together(count, (lambda _: psycopg.connect(plain), act), postmaster)


def line(title, found, base):
    """One row: the medians over the rounds, and the median of the ratios round by round."""
    rate = statistics.median(each.rate for each in found)
    spent = statistics.median(each.cpu / each.done * 1000 for each in found)
    served = statistics.median(each.database / each.done * 1000 for each in found)
    ratio = statistics.median(a.rate / b.rate for a, b in zip(found, base, strict=True))
    print(f"{title:44}{rate:10.1f}{ratio:8.2f}{spent:12.1f}{served:12.1f}", flush=True)


def report(title, counts, measure, rounds):
    found = {count: [] for count in counts}
    for _ in range(rounds):
        for count in counts:
            found[count].append(measure(count))
    for count in counts:
        line(f"{title}, {count}", found[count], found[counts[0]])


def main(patients, rounds):
    database = Database()
    try:
        with psycopg.connect(database.url.replace("+psycopg", "")) as connection:
            folder = connection.execute("SHOW data_directory").fetchone()[0]
        postmaster = int(Path(folder, "postmaster.pid").read_text().split()[0])
        service = Measured(database.url, postmaster)
        with service.app.engine.connect() as connection:
            kept = [connection.exec_driver_sql(f"SHOW {s}").scalar() for s in
                    ("server_version", "fsync", "synchronous_commit")]  # fmt: skip
        print(f"PostgreSQL {kept[0]}, fsync {kept[1]}, synchronous_commit {kept[2]};"
              f" {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")  # fmt: skip
        print(f"{'':44}{'a second':>10}{'ratio':>8}{'CPU ms each':>12}{'database':>12}")
        for pause in (0.0, 0.05):
            report(
                f"messages, provider takes {pause * 1000:.0f} ms, workers", (1, 2, 4),
                lambda count, pause=pause: service.due_work(count, patients, pause), rounds,
            )  # fmt: skip
        report("replies, connections", (1, 8), lambda n: service.replies(n, patients), rounds)
        report(
            "bare psycopg, connections", (1, 8),
            lambda n: bare(database.url, postmaster, n), rounds,
        )  # fmt: skip
        print(f"load {os.getloadavg()[0]:.1f} at the end; peak of this process"
              f" {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB")  # fmt: skip
        service.app.close()
    finally:
        database.end()


if __name__ == "__main__":
    given = [int(each) for each in sys.argv[1:]]
    main(*given, *(60, 3)[len(given) :])
