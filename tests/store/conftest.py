import shutil
from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from bot.store.engine import open_engine


@pytest.fixture
def engine(empty_record, tmp_path) -> Iterator[Engine]:
    made = open_engine(f"sqlite:///{shutil.copy(empty_record, tmp_path / 'record.db')}")
    yield made
    made.dispose()
