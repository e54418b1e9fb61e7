"""What is asked about one patient must not cost more because others are enrolled."""

import pytest
from sqlalchemy import text

from bot.store import plans

ONE_SURGERY = [plans._STATES, plans._SENT, plans._COMING]


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
