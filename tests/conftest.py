"""What takes seconds to make and nobody changes, made once for all tests of a process."""

from pathlib import Path

import pytest

from bot.service.practice import Practice
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import load_practice


@pytest.fixture(scope="session")
def published() -> Practice:
    """The content that ships, on no record of its own."""
    return load_practice(open_engine("sqlite://"))


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory) -> Path:
    """A migrated record without anything in it, to copy."""
    path = tmp_path_factory.mktemp("record") / "empty.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    engine.dispose()
    return path
