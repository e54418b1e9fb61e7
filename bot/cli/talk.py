"""`countdown talk`: you are the patient, in the terminal, with a clock that you can move."""

import tempfile
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from bot import wiring
from bot.play.player import Clock
from bot.play.terminal import Terminal


def talk(
    joint: Annotated[str, typer.Option(help="hip or knee")] = "knee",
    surgery: Annotated[
        datetime, typer.Option(help="Day and start of the surgery, local time.")
    ] = datetime(2027, 3, 15, 7, 30),  # noqa: DTZ001
    enrolled: Annotated[
        datetime, typer.Option(help="When the patient was enrolled, local time.")
    ] = datetime(2027, 2, 8, 10, 0),  # noqa: DTZ001
    zone: Annotated[str, typer.Option(help="The hospital's time zone.")] = "America/New_York",
    language: Annotated[str, typer.Option(help="en or es")] = "en",
) -> None:
    """Be the patient: read what comes, answer in your own words, move the clock.

    Examples:

        countdown talk

        countdown talk --joint hip --enrolled 2027-03-11T14:00

        countdown talk --language es
    """
    with tempfile.TemporaryDirectory() as folder:
        clock = Clock(Path(folder) / "clock")
        app = wiring.build(f"sqlite:///{folder}/talk.db", clock=clock)
        desk = Terminal(app, clock, Path(folder), zone)
        desk.begin(joint, surgery, enrolled, language)
        desk.run()
