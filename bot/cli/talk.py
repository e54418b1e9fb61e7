"""`countdown talk`: you are the patient, in the terminal, with a clock that you can move."""

import tempfile
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from bot import wiring
from bot.cli.plan_options import facts_of
from bot.content.faults import ContentFaults
from bot.core.protocol import Protocol
from bot.play.player import Clock
from bot.play.terminal import Terminal
from bot.service.opening_flow import sample_values
from bot.wiring import App

Flows = Annotated[
    Path, typer.Option(help="Content directory to try; the shipped one if left out.", exists=True)
]


def talk(
    joint: Annotated[str, typer.Option(help="hip or knee")] = "knee",
    surgery: Annotated[
        datetime, typer.Option(help="Day and start of the surgery, local time.")
    ] = datetime(2027, 3, 15, 7, 30),  # noqa: DTZ001
    enrolled: Annotated[
        datetime, typer.Option(help="When the patient was enrolled, local time.")
    ] = datetime(2027, 2, 8, 10, 0),  # noqa: DTZ001
    zone: Annotated[str, typer.Option(help="The hospital's time zone.")] = "America/New_York",
    language: Annotated[str, typer.Option(help="en, es, or another that the content has")] = "en",
    flow: Annotated[
        str | None, typer.Option(help="Play only this conversation, as talks/NAME.yaml has it.")
    ] = None,
    fact: Annotated[
        list[str] | None, typer.Option(help="A fact as KEY=VALUE, such as smoker=yes; repeatable.")
    ] = None,
    flows: Flows = wiring.FLOWS,
) -> None:
    """Be the patient: read what comes, answer in your own words, move the clock.

    Examples:

        countdown talk

        countdown talk --joint hip --enrolled 2027-03-11T14:00

        countdown talk --flow wash --language es

        countdown talk --flow blood_sugar --flows my-flows --fact diabetes=yes
    """
    with tempfile.TemporaryDirectory() as folder:
        clock = Clock(Path(folder) / "clock")
        app = _app(folder, clock, flows)
        facts = facts_of(fact or [], app.practice.book.fact_defaults)
        if flow is not None:
            _without_prompts(app)
        desk = Terminal(app, clock, Path(folder), zone)
        desk.begin(joint, surgery, enrolled, language, facts)
        if flow is not None:
            _open(desk, flow, surgery)
        desk.run()


def _app(folder: str, clock: Clock, flows: Path) -> App:
    try:
        return wiring.build(f"sqlite:///{folder}/talk.db", clock=clock, flows=flows)
    except ContentFaults as faults:
        typer.echo(str(faults), err=True)
        raise typer.Exit(1) from faults


def _without_prompts(app: App) -> None:
    """Leave only what the conversation itself opens."""
    empty = {name: Protocol(name, "", ()) for name in app.practice.protocols}
    app.practice = replace(app.practice, protocols=empty)


def _open(desk: Terminal, flow: str, surgery: datetime) -> None:
    """Open the flow with what a prompt would carry: a wash number, an invented medicine."""
    try:
        desk.try_flow(flow, sample_values(surgery.date()))
    except LookupError as missing:
        typer.echo(str(missing.args[0]), err=True)
        raise typer.Exit(1) from missing
