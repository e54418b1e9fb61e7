"""Fills a store with many patients: one is enrolled and talked with, the rest are copies of them.

Rows are copied by `sqlite3` inside the database, with ids and days moved, so a million patients
take minutes. Every copy has what the first one has: contact, operation, 50 prompts, messages both
ways with their readings, items, facts, consents. The store is the real one, by its migrations.

Of the copies, every one of the `sample` (spread evenly) stands where the first one stands, with a
prompt due at the same moment; of the others half are 7 to 34 days behind (all their prompts to
come), and half are over (60 days ahead, nothing left to send).
"""

import re
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment
from bot.wiring import App, build

START = datetime(2027, 2, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", clock_time(7, 30))
DUE = datetime(2027, 2, 11, 15, tzinfo=UTC)  # the next prompt of the first patient: vaccines
OPENING = ("1", "yes", "1", "yes")  # language, who we are, may we write, how often
LATER = ("2", "yes")  # a support person, early messages on the day of surgery
BEHIND, OVER = range(7, 35), -60
TABLES = (
    "patient", "contact", "surgery", "consent", "fact", "conversation", "planned_prompt", "item",
    "inbound", "reading", "outbound", "audit",
)  # fmt: skip
_DAY = re.compile(r"\b20\d\d-\d\d-\d\d(?!\d)")
# Columns that differ from copy to copy; `n` is the copy's number, `s` the first patient's row.
_MOVED = {
    ("patient", "id"): "s.id + n",
    ("patient", "reference"): "printf('B-%09d', n)",
    ("contact", "address"): "printf('phone-%09d', n)",
    ("inbound", "address"): "printf('phone-%09d', n)",
    ("outbound", "address"): "printf('phone-%09d', n)",
    ("consent", "address"): "printf('phone-%09d', n)",
    ("inbound", "provider_message_id"): "printf('%09d.', n) || s.provider_message_id",
    ("outbound", "provider_id"): "printf('%09d.', n) || s.provider_id",
    ("outbound", "key"): "replace(s.key, 'turn.1.', 'turn.' || (n + 1) || '.')",
}


class Talk:
    """One patient, enrolled and answering, on a clock that is moved by hand."""

    def __init__(self, url, phone="phone-000000000"):
        self.now = START
        self.phone, self.said = phone, 0
        self.app: App = build(url, clock=lambda: self.now)
        self.app.connect(RecordingChannel(self.app.clock, "sms"))
        who = ("B-000000000", "Rosalind Vale", "sms", phone)
        wish = Enrolment(*who, KNEE, "Dr. Ana Quill", agreed="paper")
        self.patient = self.app.care.enrol(wish).patient

    def wait_until(self, moment):
        """Let everything happen that is due until then."""
        while (following := self.app.next_moment()) is not None and following <= moment:
            self.now = max(self.now, following)
            self.app.run_due()

    def say(self, text):
        self.said += 1
        self.now += timedelta(minutes=1)
        self.app.handle(Incoming("sms", self.phone, text, f"m{self.said}", self.now))
        self.app.relay()


def ask_opening(talk):
    """Everything of the first day is asked; the first question waits for its answer."""
    talk.wait_until(START + timedelta(hours=2))


def play_three_days(talk):
    """Answer everything that is asked in the three days before `DUE`."""
    ask_opening(talk)
    for text in OPENING:
        talk.say(text)
    for hours, text in zip((24, 26), LATER, strict=True):
        talk.wait_until(START + timedelta(hours=hours))
        talk.say(text)
    if talk.app.chart(talk.patient).conversation.open is not None:
        raise RuntimeError("the first patient's talk no longer goes as this file says")


def fill(path, patients, sample, play=play_three_days):
    """Make a store at `path` with this many patients; return the phones of the sample.

    `play` brings the first patient to where the sample shall stand.
    """
    talk = Talk(f"sqlite:///{path}")
    play(talk)
    talk.app.close()
    with closing(sqlite3.connect(path, isolation_level=None)) as store:
        return copy_patients(store, patients, sample)


def copy_patients(store, patients, sample):
    """Copy the only patient of a store until there are this many; return the sample's phones."""
    for pragma in ("journal_mode=OFF", "synchronous=OFF", "cache_size=-1000000"):
        store.execute(f"PRAGMA {pragma}")
    chosen = {n * patients // sample for n in range(sample)}
    shifts = {n: 0 if n in chosen else _shift(n) for n in range(1, patients)}
    store.execute("CREATE TEMP TABLE copy (n INTEGER PRIMARY KEY, shift INTEGER)")
    store.execute("BEGIN")
    store.executemany("INSERT INTO copy VALUES (?, ?)", shifts.items())
    indexes = _drop_indexes(store)
    strides = {table: _stride(store, table) for table in TABLES}
    for table in TABLES:
        _copy_table(store, table, strides, {0, OVER, *BEHIND})
    for sql in indexes:
        store.execute(sql)
    store.execute("COMMIT")
    store.execute("PRAGMA journal_mode=WAL")
    return [f"phone-{n:09d}" for n in sorted(chosen)]


def _shift(n):
    """In days: half of the copies are over, half are on their way."""
    return OVER if n % 2 else BEHIND[n // 2 % len(BEHIND)]


def _stride(store, table):
    """By how much the ids of one patient's rows differ from the next one's."""
    key = "id" if "id" in _columns(store, table) else "rowid"
    return store.execute(f"SELECT max({key}) FROM {table}").fetchone()[0] or 0


def _columns(store, table):
    return [row[1] for row in store.execute(f"PRAGMA table_info({table})")]


def _drop_indexes(store):
    """Drop the indexes that are no constraint; return how to make them again."""
    marks = ",".join("?" * len(TABLES))
    found = store.execute(
        "SELECT name, sql FROM sqlite_master WHERE type='index' AND sql IS NOT NULL"
        f" AND tbl_name IN ({marks})",
        TABLES,
    ).fetchall()
    for name, _ in found:
        store.execute(f'DROP INDEX "{name}"')
    return [sql for _, sql in found]


def _copy_table(store, table, strides, shifts):
    """One row of `shape` is a row of the first patient, moved by so many days."""
    columns = _columns(store, table)
    rows = store.execute(f"SELECT * FROM {table} ORDER BY rowid").fetchall()
    names = ", ".join(f'"{name}"' for name in columns)
    store.execute(
        f"CREATE TEMP TABLE shape (moved, nth, {names}, PRIMARY KEY (moved, nth)) WITHOUT ROWID"
    )
    marks = ",".join("?" * (len(columns) + 2))
    shapes = [
        (shift, nth, *(_later(cell, shift) for cell in _settled(table, columns, row, shift)))
        for shift in shifts
        for nth, row in enumerate(rows)
    ]
    store.executemany(f"INSERT INTO shape VALUES ({marks})", shapes)
    taken = ", ".join(_taken(table, name, strides) for name in columns)
    store.execute(
        f"INSERT INTO {table} ({names}) SELECT {taken} FROM copy"
        " CROSS JOIN shape s ON s.moved = copy.shift"
    )
    store.execute("DROP TABLE shape")


def _settled(table, columns, row, shift):
    """Of a patient whose operation is over every prompt went out and no timer is set."""
    if shift != OVER:
        return row
    over = {"planned_prompt": {"state": "sent"}, "conversation": {"wake_at": None}}
    changes = {"surgery": {"status": "over", "nurse_due": None}, **over}.get(table, {})
    return [changes.get(name, cell) for name, cell in zip(columns, row, strict=True)]


def _later(cell, days):
    """A cell with every date in it moved."""
    if not isinstance(cell, str) or not days:
        return cell
    return _DAY.sub(lambda m: str(date.fromisoformat(m[0]) + timedelta(days=days)), cell)


def _taken(table, name, strides):
    own = _MOVED.get((table, name))
    if own:
        return own
    if name == "id":
        return f"s.id + n * {strides[table]}"
    if name in ("patient_id", "surgery_id"):
        return f's."{name}" + n'
    if name == "inbound_id":
        return f"s.inbound_id + n * {strides['inbound']}"
    return f's."{name}"'
