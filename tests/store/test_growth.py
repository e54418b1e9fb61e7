"""What is asked about one patient must not cost more because others are enrolled."""

import tracemalloc

import pytest
from sqlalchemy import insert, text

from bot.store import plans, versions
from bot.store.tables import CONVERSATION

ONE_SURGERY = [plans._KEPT, plans._SENT, plans._COMING]


@pytest.mark.parametrize("statement", ONE_SURGERY)
def test_one_countdown_is_found_by_its_surgery(engine, statement):
    sql = str(statement._statement.compile(dialect=engine.dialect))
    with engine.connect() as connection:
        marks = tuple(1 for _ in range(sql.count("?")))
        steps = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}", marks).all()
    told = " ".join(step.detail for step in steps)
    assert "surgery_id=?" in told


def test_the_plan_would_show_a_search_of_the_whole_table(engine):
    with engine.connect() as connection:
        steps = connection.execute(
            text("EXPLAIN QUERY PLAN SELECT id FROM planned_prompt WHERE reason = 'x'")
        ).all()
    assert "SCAN" in " ".join(step.detail for step in steps)


def test_all_chats_are_looked_through_without_holding_them_all(engine):
    bodies = [{"patient_id": n, "body": f"{n:01000d}"} for n in range(20_000)]  # 20 MB
    with engine.begin() as connection:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        connection.execute(insert(CONVERSATION), bodies)
        del bodies
        tracemalloc.start()
        count = sum(1 for _ in versions.chats(connection))
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        connection.rollback()
    assert count == 20_000
    assert peak < 4_000_000
