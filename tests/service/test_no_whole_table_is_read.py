"""What a tick, the relay and a reply ask must not cost more because others are enrolled.

Every statement of a story is kept as the database ran it, and the database is asked how it finds
its rows. Without statistics SQLite plans the same for ten rows and for ten million.
"""

import pytest
from sqlalchemy import event

from bot.core.copies import CopyLevel

# Emptied, filled by hand, or the patients of one batch.
FEW_ROWS = ("early_receipt", "content_publication", "kept_text", "CONSTANT", "listed VIRTUAL")


@pytest.fixture
def statements(clinic):
    """Every statement that SQLite runs, with its values in it."""
    seen: set[str] = set()

    def listen(driver, _record, _proxy):
        driver.set_trace_callback(seen.add)

    event.listen(clinic.app.engine, "checkout", listen)
    return seen


def scans(clinic, statements):
    """(what is read whole, statement) of each statement that reads a table that grows."""
    found = []
    with clinic.app.engine.connect() as connection:
        for sql in [each for each in statements if each.startswith(("SELECT", "UPDATE", "DELETE"))]:
            for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").all():
                table = step.detail.removeprefix("SCAN ")
                if table != step.detail and not table.startswith(FEW_ROWS):
                    found.append((step.detail, sql))
    return found


def test_no_statement_of_a_story_reads_a_whole_table(clinic, statements):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    clinic.settle_in(patient)
    clinic.wait(days=3)
    clinic.says("I have a fever of 101.2")
    clinic.wait(hours=2)
    case = clinic.cases(patient)["alarm"]
    clinic.app.care.acknowledge(case.id, "Nurse Ortiz")
    clinic.says("yes")
    clinic.wait(days=1)
    assert len(statements) > 100
    assert scans(clinic, statements) == []


def test_a_whole_table_read_would_be_seen(clinic, statements):
    clinic.enrol()
    with clinic.app.engine.connect() as connection:
        connection.exec_driver_sql("SELECT id FROM planned_prompt WHERE reason = 'x'").all()
    assert [detail for detail, _ in scans(clinic, statements)] == ["SCAN planned_prompt"]
