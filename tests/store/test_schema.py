from datetime import UTC, datetime

import pytest
from sqlalchemy import delete, text, update

from bot.store import audit
from bot.store.engine import open_engine, writing
from bot.store.schema import differences, upgrade
from bot.store.tables_log import APPEND_ONLY, AUDIT, METADATA

NOW = datetime(2027, 3, 1, 14, tzinfo=UTC)


def test_the_migrations_make_exactly_the_tables_in_code(engine):
    assert differences(engine) == []


def test_a_missing_column_is_seen():
    engine = open_engine("sqlite://")
    METADATA.create_all(engine)
    with writing(engine) as connection:
        connection.execute(text("ALTER TABLE patient DROP COLUMN born"))
    assert "add_column" in str(differences(engine))


def test_upgrading_twice_changes_nothing(engine):
    upgrade(engine)
    assert differences(engine) == []


@pytest.mark.parametrize("table", APPEND_ONLY, ids=lambda table: table.name)
def test_a_log_refuses_to_be_changed(engine, table):
    with writing(engine) as connection:
        audit.note(connection, "nurse", "looked", None, NOW)
        connection.execute(text("PRAGMA foreign_keys=OFF"))
    for statement in (update(AUDIT).values(who="x"), delete(AUDIT)):
        with pytest.raises(Exception, match="append-only"), writing(engine) as connection:
            connection.execute(statement)
    with engine.connect() as connection:
        names = connection.scalars(text("SELECT tbl_name FROM sqlite_master WHERE type='trigger'"))
        assert list(names).count(table.name) == 2
