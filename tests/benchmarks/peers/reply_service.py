"""Replies to the service itself, one commit each or as many to a commit as told, and bare."""

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import bare_limit
import bench_services
import copied_patients
import dialogue
import measured

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.wiring import build


def main(together, limit, writing):
    steps = dialogue.taken_down()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "service.db"
        copied_patients.fill(path, dialogue.CONVERSATIONS, writing, copied_patients.ask_opening)
        before = Path(folder) / "before.db"
        with closing(sqlite3.connect(path)) as store:
            store.execute("VACUUM INTO ?", (str(before),))
        found = {"done": writing * len(steps)}
        talk(path, steps, dialogue.writers(writing), together, found)
        if limit:
            found["bare"] = bare(path, before, found["done"])
    measured.tell(**found)


def talk(path, steps, numbers, together, found):
    now = [dialogue.instant(0)]
    app = build(f"sqlite:///{path}", clock=lambda: now[0])
    app.connect(RecordingChannel(app.clock, "sms"))
    place = 0
    for nth, step in enumerate(steps):
        for start in range(0, len(numbers), together):
            now[0] = dialogue.instant(place)
            said = [
                Incoming("sms", dialogue.phone(n), step["text"], f"{n:09d}.m{nth}", now[0])
                for n in numbers[start : start + together]
            ]
            place += len(said)
            with measured.timed(found):
                bench_services.hand_in(app, said, now[0])
    check(app, steps, numbers)
    app.close()


def check(app, steps, numbers):
    """Every conversation came to the end of the dialogue."""
    for number in (numbers[0], numbers[-1]):
        said = [line.text for line in app.threads(number + 1)][-1]
        if said != steps[-1]["says"]:
            raise RuntimeError(f"the service ended with {said!r}")


def bare(path, before, replies):
    """The rows that the replies added, written by sqlite3 alone, one commit each."""
    rows = {}
    with closing(sqlite3.connect(path)) as store:
        store.execute("ATTACH ? AS old", (str(before),))
        for table in bare_limit.REPLIED:
            key = "inbound_id" if table == "reading" else "id"
            rows[table] = store.execute(
                f"SELECT * FROM {table} WHERE {key} NOT IN (SELECT {key} FROM old.{table})"
            ).fetchall()
        chats = store.execute("SELECT body, patient_id FROM conversation").fetchall()
    found = {"rows": sum(map(len, rows.values())) / replies + 1}
    with closing(sqlite3.connect(before, isolation_level=None)) as new:
        for pragma in (*bare_limit.SQLITE_PRAGMAS, "PRAGMA foreign_keys=OFF"):
            new.execute(pragma)
        with measured.timed(found):
            for n in range(replies):
                new.execute("BEGIN IMMEDIATE")
                bare_limit.change_chat(new, chats[n % len(chats)])
                bare_limit.insert_share(new, rows, n, replies)
                new.execute("COMMIT")
    return found


if __name__ == "__main__":
    told = measured.given()
    main(told["together"], told["bare"], told["writing"])
