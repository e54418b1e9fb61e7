from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from bot.store.engine import open_engine
from bot.store.schema import upgrade


@pytest.fixture
def engine(tmp_path) -> Iterator[Engine]:
    made = open_engine(f"sqlite:///{tmp_path / 'record.db'}")
    upgrade(made)
    yield made
    made.dispose()
