import threading

import pytest
from sqlalchemy import event, insert, select, text
from sqlalchemy.exc import OperationalError

from bot.store.engine import apart, insert_new, open_engine, reading, upsert, writing
from bot.store.prepared import run_on_sqlite
from bot.store.tables import CONVERSATION, SURGEON


def test_every_connection_syncs_each_commit_and_checks_foreign_keys(engine):
    for _ in range(3):
        with engine.connect() as connection:
            assert connection.scalar(text("PRAGMA synchronous")) == 2  # FULL
            assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
            assert connection.scalar(text("PRAGMA foreign_keys")) == 1


def test_a_write_transaction_takes_the_lock_at_its_beginning(engine):
    said = []
    event.listen(engine, "checkout", lambda driver, *rest: driver.set_trace_callback(said.append))
    with writing(engine):
        pass
    with reading(engine):
        pass
    assert [sql for sql in said if "BEGIN" in sql] == ["BEGIN IMMEDIATE", "BEGIN DEFERRED"]


def test_two_writers_take_turns(engine):
    inside = threading.Event()
    order = []

    def second():
        inside.wait()
        with writing(engine) as connection:
            order.append(connection.scalar(select(SURGEON.c.name)))

    thread = threading.Thread(target=second)
    thread.start()
    with writing(engine) as connection:
        inside.set()
        connection.execute(insert(SURGEON).values(name="Dr. Ines Calloway"))
        order.append("first done")
    thread.join()
    assert order == ["first done", "Dr. Ines Calloway"]


def test_what_fails_leaves_nothing_behind(engine):
    def fail_half_way():
        with writing(engine) as connection:
            connection.execute(insert(SURGEON).values(name="Dr. Ines Calloway"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    with reading(engine) as connection:
        assert connection.scalar(select(SURGEON.c.name)) is None


def test_what_the_database_undid_by_itself_never_looks_committed(engine):
    def go_on_after_a_fault():
        with writing(engine) as connection:
            connection.execute(insert(SURGEON).values(name="Dr. Ines Calloway"))
            run_on_sqlite(connection, "ROLLBACK")  # as a full disk does
            connection.execute(insert(SURGEON).values(name="Dr. Ana Quill"))

    with pytest.raises(OperationalError, match="undone"):
        go_on_after_a_fault()


def test_a_part_that_fails_is_undone_alone(engine):
    def fail(connection):
        with apart(connection):
            connection.execute(insert(SURGEON).values(name="Dr. Lost"))
            raise RuntimeError

    with writing(engine) as connection:
        with apart(connection):
            connection.execute(insert(SURGEON).values(name="Dr. Ines Calloway"))
        with pytest.raises(RuntimeError):
            fail(connection)
        with apart(connection):
            connection.execute(insert(SURGEON).values(name="Dr. Ana Quill"))
    with reading(engine) as connection:
        names = set(connection.execute(select(SURGEON.c.name)).scalars())
    assert names == {"Dr. Ines Calloway", "Dr. Ana Quill"}


def test_a_repeated_insert_is_told_apart_and_an_upsert_overwrites(engine):
    with writing(engine) as connection:
        first = insert_new(connection, SURGEON, {"name": "Dr. Ines Calloway"})
        again = insert_new(connection, SURGEON, {"name": "Dr. Ines Calloway"})
        upsert(connection, SURGEON, {"name": "Dr. Ines Calloway", "id": first}, ("name",))
    assert (first, again) == (1, None)


def test_a_chat_of_nobody_is_refused(engine):
    with pytest.raises(Exception, match="FOREIGN KEY"), writing(engine) as connection:
        connection.execute(insert(CONVERSATION).values(patient_id=9, body="{}", version=0))


def test_a_database_in_memory_is_one_database():
    engine = open_engine("sqlite://")
    with writing(engine) as connection:
        connection.execute(text("CREATE TABLE t (a)"))
    with reading(engine) as connection:
        assert connection.execute(text("SELECT * FROM t")).all() == []
