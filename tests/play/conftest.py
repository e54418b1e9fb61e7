"""The published content once, an empty record for each story."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bot.play.player import Clock, Player
from bot.play.scenario import Scenario
from bot.service.practice import Practice
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import load_practice


@pytest.fixture(scope="session")
def published() -> Practice:
    return load_practice(open_engine("sqlite://"))


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("record") / "empty.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    engine.dispose()
    return path


@pytest.fixture
def played(published, empty_record, tmp_path) -> Callable[[Scenario], Player]:
    """Play a story from beginning to end."""

    def play(story: Scenario) -> Player:
        path = tmp_path / "story.db"
        shutil.copy(empty_record, path)
        engine = open_engine(f"sqlite:///{path}")
        player = Player(
            story, replace(published, engine=engine), tmp_path, Clock(tmp_path / "clock")
        )
        for _ in player.play():
            pass
        return player

    return play
