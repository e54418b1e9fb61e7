"""Enrolments, due messages and replies stored durably, as ratios to the bare limit in the same run.

    .venv/bin/python tests/benchmarks/bench_services.py [patients] [replies to a commit]

The service runs as `countdown serve` does, SQLite WAL at synchronous=FULL: an enrolment plans the
whole countdown; due messages (the patients' at one moment) are claimed, stepped, stored, claimed for
sending, handed to a channel that takes them at once, and marked; a reply is read, stepped and stored
with its answer in the outbox. The bare limit writes the very rows that these added, by `sqlite3`
alone, in one commit each (bare_limit.py). Due messages share their commits, and with a second
number that many replies arrive together and do so too; the bare limit is then measured a second
time, with as many to a commit.

Three rounds of replies come first and are not timed: in them the new patients agree to the
messages. Both by CPU time of the process and by the wall; on a machine that others use only the
first can be compared.
"""

import sys
import tempfile
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path

import bare_limit
from bare_limit import Bare, newest, timed

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.cli.memory import keep_loaded
from bot.core.protocol import Surgery
from bot.service import inbound
from bot.service.enrolment import Enrolment
from bot.wiring import build

START = datetime(2027, 2, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", clock_time(7, 30))
WARM, ROUNDS = 3, 10
TEXTS = ("1", "yes", "done", "1")


class Clinic:
    """A store in a folder, its clock, and what the service took for each kind of deed."""

    def __init__(self, folder, patients):
        self.folder, self.patients = Path(folder), patients
        self.path = self.folder / "service.db"
        self.now = START
        self.app = build(f"sqlite:///{self.path}", clock=lambda: self.now)
        self.app.connect(RecordingChannel(self.app.clock, "sms"))
        keep_loaded()

    def enrol(self, first, agreed=""):
        """Enrol the patients numbered from `first` on."""
        for i in range(first, first + self.patients):
            name, phone = f"Patient Number{i}", f"phone-{i}"
            wish = Enrolment(f"B-{i}", name, "sms", phone, KNEE, "Dr. Ana Quill", agreed=agreed)
            self.app.care.enrol(wish)

    def fire(self, times):
        """Let what is due next happen, `times` times over."""
        done = [0, 0]
        for _ in range(times):
            self.now = max(self.now, self.app.next_moment() or self.now)
            tick = self.app.run_due()
            done = [done[0] + tick.prompts, done[1] + tick.timers]
        return done

    def answer(self, number, together):
        """Every patient answers the open question; the time that this took."""
        spent = (0.0, 0.0)
        for start in range(0, self.patients, together):
            self.now += timedelta(milliseconds=20)
            last = min(start + together, self.patients)
            batch = [self.said(number, i) for i in range(start, last)]
            took = timed(lambda batch=batch: hand_in(self.app, batch, self.now))
            spent = (spent[0] + took[0], spent[1] + took[1])
        return spent

    def said(self, number, i):
        """What a patient writes in one round."""
        text = TEXTS[(number + i) % len(TEXTS)]
        return Incoming("sms", f"phone-{i}", text, f"m{number}.{i}", self.now)

    def bare(self, name, spans, tables):
        """The bare limit for what was added in these spans."""
        return Bare(self.path, self.folder / f"{name}.db", spans, tables)


def hand_in(app, batch, now):
    """One by one as a channel does, or as those who wait for their turn are joined."""
    if len(batch) == 1:
        app.handle(batch[0])
    elif any(inbound.handle_all(app.practice, batch, now)):
        raise RuntimeError("a reply failed")


def bench_enrolments(folder, patients):
    clinic = Clinic(folder, patients)
    clinic.enrol(0, "paper")
    before = newest(clinic.path)
    took = timed(lambda: clinic.enrol(patients, "paper"))
    bare = clinic.bare("bare", [(before, newest(clinic.path))], bare_limit.ENROLLED)
    limit = bare_limit.enrolments(bare, patients)
    clinic.app.close()
    line(f"enrolments ({bare.count() / patients:.0f} rows)", patients, took, limit)


def bench_due(folder, patients):
    clinic = Clinic(folder, patients)
    clinic.enrol(0, "paper")
    clinic.fire(2)
    before, done = newest(clinic.path), []
    took = timed(lambda: done.extend(clinic.fire(6)))
    span = [(before, newest(clinic.path))]
    one, many = (clinic.bare(name, span, bare_limit.FIRED) for name in ("one", "many"))
    count = one.count("outbound")
    limit, shared = bare_limit.fired(one, count, 1), bare_limit.fired(many, count, patients)
    clinic.app.close()
    line(f"due messages ({done[0]} prompts, {done[1]} timers)", count, took, limit)
    line(f"  the same, bare limit with {patients} to a commit", count, took, shared)


def bench_replies(folder, patients, together):
    clinic = Clinic(folder, patients)
    clinic.enrol(0)
    for number in range(WARM):
        clinic.fire(3)
        clinic.answer(number, together)
    spans, spent = [], [0.0, 0.0]
    for number in range(WARM, WARM + ROUNDS):
        clinic.fire(3)
        before = newest(clinic.path)
        took = clinic.answer(number, together)
        spans.append((before, newest(clinic.path)))
        spent = [a + b for a, b in zip(spent, took, strict=True)]
    count = patients * ROUNDS
    bare = clinic.bare("one", spans, bare_limit.REPLIED)
    limit = bare_limit.replies(bare, count, 1)
    rows = bare.count() / count + 1
    line(f"replies ({rows:.1f} rows, {together} to a commit)", count, spent, limit)
    if together > 1:
        joined = clinic.bare("many", spans, bare_limit.REPLIED)
        shared = bare_limit.replies(joined, count, together)
        line(f"  the same, bare limit with {together} to a commit", count, spent, shared)
    clinic.app.close()


def line(what, count, took, limit):
    """One line: per second for the service and the bare limit, and the ratio, by CPU and wall."""
    figures = "".join(
        f"{count / own:9.0f}{count / bare:9.0f}{bare / own:8.1%}"
        for own, bare in zip(took, limit, strict=True)
    )
    print(f"{what:52}{figures}", flush=True)


def main(patients=50, together=1):
    print(f"{patients} patients; each per second: service, bare sqlite3, ratio")
    print(f"{'':52}{'by CPU time':>26}{'by the wall':>26}")
    for bench in (bench_enrolments, bench_due):
        with tempfile.TemporaryDirectory() as folder:
            bench(folder, patients)
    with tempfile.TemporaryDirectory() as folder:
        bench_replies(folder, patients, together)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
