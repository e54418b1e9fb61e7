"""The published content once, an empty record for each story."""

import shutil
from collections.abc import Callable
from dataclasses import replace

import pytest

from bot.play.player import Clock, Player
from bot.play.scenario import Scenario
from bot.store.engine import open_engine


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
