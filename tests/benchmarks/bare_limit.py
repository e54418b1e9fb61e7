"""The bare limit: the rows that the service added, written again by `sqlite3` alone.

They go into the same tables of a copy of the store, with the same indexes and the same pragmas;
triggers are dropped and foreign keys are not checked. Each deed of the service (a reply, an
enrolment, a message that became due and was sent) is as many commits here as it is there.
"""

import sqlite3
import time
from contextlib import closing, contextmanager

from bot.store.engine import SQLITE_PRAGMAS

REPLIED = (
    "inbound", "reading", "outbound", "item", "fact", "consent", "audit", "planned_prompt",
    "escalation", "escalation_event",
)  # fmt: skip
ENROLLED = (
    "patient", "contact", "fact", "surgery", "conversation", "consent", "audit", "planned_prompt",
)  # fmt: skip
FIRED = ("outbound", "audit", "escalation", "escalation_event")


def timed(deed):
    """(CPU seconds of this process, seconds on the wall) that it took."""
    cpu, wall = time.process_time(), time.perf_counter()
    deed()
    return time.process_time() - cpu, time.perf_counter() - wall


def newest(path):
    """The highest row of each table."""
    with closing(sqlite3.connect(path)) as store:
        named = store.execute("SELECT name FROM sqlite_master WHERE type='table'").fetchall()
        return {
            t: store.execute(f"SELECT max(rowid) FROM {t}").fetchone()[0] or 0 for (t,) in named
        }


def insert_share(store, tables, n, of):
    """Insert the nth of `of` equal shares of the rows of each table."""
    for table, rows in tables.items():
        for row in rows[len(rows) * n // of : len(rows) * (n + 1) // of]:
            store.execute(f"INSERT INTO {table} VALUES ({','.join('?' * len(row))})", row)


def change_chat(store, chat):
    """Store a chat (body, patient) anew, as every turn does."""
    store.execute("UPDATE conversation SET body=?, version=version+1 WHERE patient_id=?", chat)


class Bare:
    """A copy of the store without the rows that came since, to write again those of some spans.

    A span is what `newest` said before and after.
    """

    def __init__(self, path, target, spans, tables):
        self.spans, self.before = spans, spans[0][0]
        with closing(sqlite3.connect(path)) as old:
            self.rows = {t: self._added(old, t) for t in tables}
            self.chats = old.execute("SELECT body, patient_id FROM conversation").fetchall()
            old.execute("VACUUM INTO ?", (str(target),))
        self.store = sqlite3.connect(target, isolation_level=None)
        for pragma in (*SQLITE_PRAGMAS, "PRAGMA foreign_keys=OFF"):
            self.store.execute(pragma)
        triggers = self.store.execute("SELECT name FROM sqlite_master WHERE type='trigger'")
        for (name,) in triggers.fetchall():
            self.store.execute(f'DROP TRIGGER "{name}"')
        for table in tables:
            self.store.execute(f"DELETE FROM {table} WHERE rowid > ?", (self.before.get(table, 0),))

    def _added(self, old, table):
        query = f"SELECT * FROM {table} WHERE rowid > ? AND rowid <= ? ORDER BY rowid"
        ends = [(before.get(table, 0), after.get(table, 0)) for before, after in self.spans]
        return [row for span in ends for row in old.execute(query, span)]

    def count(self, table=None):
        """Rows added, in one table or in all."""
        return len(self.rows[table]) if table else sum(map(len, self.rows.values()))

    def insert_share(self, n, of):
        """Insert the nth of `of` equal shares of the rows."""
        insert_share(self.store, self.rows, n, of)

    def change_chat(self, n):
        """Store a chat anew, as every turn does."""
        change_chat(self.store, self.chats[n % len(self.chats)])

    @contextmanager
    def commit(self):
        """One transaction."""
        self.store.execute("BEGIN IMMEDIATE")
        yield
        self.store.execute("COMMIT")


def replies(bare, count, together):
    """The time of `count` replies, `together` to a commit."""

    def write():
        for start in range(0, count, together):
            with bare.commit():
                for n in range(start, min(start + together, count)):
                    bare.change_chat(n)
                    bare.insert_share(n, count)

    return timed(write)


def enrolments(bare, count):
    """The time of `count` enrolments, one commit each."""

    def write():
        for n in range(count):
            with bare.commit():
                bare.insert_share(n, count)

    return timed(write)


def fired(bare, count, together, batch=50):
    """The time of `count` messages: each stored, claimed in batches, and marked as sent.

    `together` of them share the commit that stores them, and the one that marks them.
    """
    first = bare.before["outbound"] + 1
    prompts = [row[0] for row in bare.store.execute("SELECT id FROM planned_prompt LIMIT 1000")]

    def store(n):
        prompt = prompts[n % len(prompts)]
        bare.store.execute("UPDATE planned_prompt SET state='sent' WHERE id=?", (prompt,))
        bare.change_chat(n)
        bare.insert_share(n, count)

    def write():
        _in_commits(bare, range(count), together, store)
        for start in range(0, count, batch):
            with bare.commit():
                bare.store.execute(_CLAIMED, (first + start, first + start + batch - 1))
            batched = range(start, min(start + batch, count))
            _in_commits(
                bare, batched, together, lambda n: bare.store.execute(_SENT, (f"p{n}", first + n))
            )

    return timed(write)


_CLAIMED = "UPDATE outbound SET state='claimed', attempts=1 WHERE id BETWEEN ? AND ?"
_SENT = "UPDATE outbound SET state='sent', provider_id=?, changed_at='x' WHERE id=?"


def _in_commits(bare, numbers, together, deed):
    for start in range(0, len(numbers), together):
        with bare.commit():
            for n in numbers[start : start + together]:
                deed(n)
