"""Due prompts in the service itself: whole, the claims alone, and the same rows bare.

On SQLite, or on PostgreSQL, into which the same store is copied by the project's own command.
"""

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import copied_patients
import due
import measured

from bot.channels.recording import RecordingChannel
from bot.service.rounds import TOGETHER
from bot.store import firing, picking
from bot.store.copying import copy_store
from bot.store.engine import SQLITE_PRAGMAS, open_engine, writing
from bot.store.schema import upgrade
from bot.wiring import build


def main(url, server):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "service.db"
        copied_patients.fill(path, due.PATIENTS, due.DUE)
        with closing(sqlite3.connect(path)) as store:
            for name in ("claims", "bare", "batches"):
                store.execute("VACUUM INTO ?", (f"{folder}/{name}.db",))
        if url:
            copy(path, url)
        found = whole(url or f"sqlite:///{path}", used_by(server))
        if not url:
            found["claims"] = claims(f"sqlite:///{folder}/claims.db")
            found["bare"] = bare(path, f"{folder}/bare.db", 1)
            found["batches"] = bare(path, f"{folder}/batches.db", 50)
    measured.tell(**found)


def used_by(server):
    return (lambda: measured.seconds_of_processes(server)) if server else (lambda: 0.0)


def copy(path, url):
    old, new = open_engine(f"sqlite:///{path}"), open_engine(url)
    upgrade(new)
    copy_store(old, new)
    with new.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")  # as autovacuum would have done by now
    old.dispose()
    new.dispose()


def whole(url, used):
    """Claimed, worded, sent, stored as sent."""
    app = build(url, clock=lambda: copied_patients.DUE)
    channel = RecordingChannel(app.clock, "sms")
    app.connect(channel)
    found = {}
    with measured.timed(found, used):
        found["done"] = app.run_due().prompts
    app.close()
    if not due.DUE == found["done"] == len(channel.sent):
        raise RuntimeError(f"{found['done']} prompts handled, {len(channel.sent)} sent")
    return found


def claims(url):
    """The scheduling alone: as in a tick, due prompts are picked and claimed, many to a commit."""
    engine, now, found = open_engine(url), copied_patients.DUE, {"done": 0}
    place = picking.BEGINNING
    with measured.timed(found):
        while place is not None:
            with writing(engine) as connection:
                picked = picking.next_prompts(connection, now, place, TOGETHER)
                whose = [each.patient for each in picked]
                own = picking.prompts_of(connection, whose, now).values() if whose else ()
                firing.claim_all(connection, [(prompt, "sent", "") for prompt in own], now)
                found["done"] += len(own)
            place = picked[-1] if picked else None
    engine.dispose()
    return found


def bare(path, target, together):
    """What the prompts left, written by sqlite3 alone: claim, chat and message, sent at once."""
    with closing(sqlite3.connect(path)) as old:
        rows = left_by_prompts(old)
    found = {"done": len(rows)}
    marks = ",".join("?" * len(rows[0][2]))
    with closing(sqlite3.connect(target, isolation_level=None)) as new:
        for pragma in SQLITE_PRAGMAS:
            new.execute(pragma)
        with measured.timed(found):
            for n, (prompt, chat, message) in enumerate(rows):
                if n % together == 0:
                    new.execute("BEGIN IMMEDIATE")
                new.execute("UPDATE planned_prompt SET state='sent' WHERE id=?", (prompt,))
                new.execute(
                    "UPDATE conversation SET body=?, version=version+1 WHERE patient_id=?", chat
                )
                new.execute(f"INSERT INTO outbound VALUES ({marks})", message)
                if n % together == together - 1 or n == len(rows) - 1:
                    new.execute("COMMIT")
    return found


def left_by_prompts(store):
    """(prompt's id, (body of the chat, patient), row of the message) of each that was due."""
    now = copied_patients.DUE.strftime("%Y-%m-%d %H:%M:%S.%f")
    prompts = store.execute(
        "SELECT p.id, c.body, p.patient_id FROM planned_prompt p"
        " JOIN conversation c ON c.patient_id = p.patient_id"
        " WHERE p.state = 'sent' AND p.changed_at = ?",
        (now,),
    ).fetchall()
    written = store.execute("SELECT * FROM outbound WHERE queued_at = ?", (now,)).fetchall()
    messages = {row[2]: row for row in written}  # the third column is the patient
    return [(prompt, (body, patient), messages[patient]) for prompt, body, patient in prompts]


if __name__ == "__main__":
    told = measured.given()
    main(told["url"], told["server"])
