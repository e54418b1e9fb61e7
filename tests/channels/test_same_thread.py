"""One story over four channels: everyone gets the same messages, apart from their form."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from carriers import Carried, Carrier, Got, HttpCarrier, SmppCarrier, TelegramCarrier

from bot.core.segments import fold
from bot.play.player import Clock, Player
from bot.play.scenario import load_scenario
from bot.service.practice import Practice
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import load_practice

pytestmark = pytest.mark.peers
STORY = Path(__file__).parent / "short_story.yaml"


@pytest.fixture(scope="module")
def content() -> Practice:
    return load_practice(open_engine("sqlite://"))


def played(folder: Path, content: Practice, carrier: Carrier | None) -> Player:
    """The story, played to its end in `folder`."""
    engine = open_engine(f"sqlite:///{folder}/story.db")
    upgrade(engine)
    clock = Clock(folder / "clock")
    player = Player(load_scenario(STORY), replace(content, engine=engine), folder, clock)
    if carrier:
        player.phones = Carried(folder / "phones.jsonl", carrier)
    for _moment in player.play():
        pass
    return player


def thread(player: Player) -> list[Got]:
    """What the story's own phones got."""
    slips = [slip for slip in player.phones.slips if not slip.written]
    return [Got(slip.address, fold(slip.text), tuple(map(fold, slip.choices))) for slip in slips]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, content: Practice) -> list[Got]:
    """The thread on the terminal's phones, with which the others are compared."""
    return thread(played(tmp_path_factory.mktemp("terminal"), content, None))


@pytest.fixture(params=["telegram", "smpp", "http"])
def carrier(request: pytest.FixtureRequest) -> Iterator[Carrier]:
    if request.param == "http":
        made: Carrier = HttpCarrier()
    else:
        kinds = {"telegram": TelegramCarrier, "smpp": SmppCarrier}
        made = kinds[request.param](request.getfixturevalue("node"))
    yield made
    made.close()


def test_the_phones_get_the_same_thread_as_the_terminal(
    tmp_path: Path, content: Practice, carrier: Carrier, told: list[Got]
) -> None:
    player = played(tmp_path, content, carrier)
    assert len(told) > 20
    assert any(got.choices for got in told)
    assert thread(player) == told
    assert carrier.got() == told
