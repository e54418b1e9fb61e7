"""`countdown month`: a month of invented patients on a virtual clock, printed as one page."""

import time
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from bot import wiring
from bot.cli.demo import STORIES
from bot.play.month import Month
from bot.play.month_page import first_day, page, rests
from bot.play.month_people import people
from bot.play.scenario import load_scenario


def month(
    patients: Annotated[int, typer.Option(min=1, max=2000, help="How many.")] = 200,
    seed: Annotated[int, typer.Option(help="The same seed makes the same month.")] = 1,
    days: Annotated[int, typer.Option(min=5, max=120, help="How long the month is.")] = 30,
    database: Annotated[
        Path | None, typer.Option(help="Keep the record here (SQLite); in memory if left out.")
    ] = None,
) -> None:
    """Play a month: enrolments, prompts, answers, alarms, nurses, new dates. Nobody in it is real.

    Exit status 1 when anything is left over at the end.

    Examples:

        countdown month

        countdown month --patients 50 --seed 7
    """
    console = Console()
    start = first_day()
    lend = {"en": load_scenario(STORIES / "all_well.yaml").answers}
    lend["es"] = {**lend["en"], **load_scenario(STORIES / "wash_rash.yaml").answers}
    lend["es"] = {**lend["es"], "wash": "ya"}
    app = wiring.build(f"sqlite:///{database}" if database else "sqlite://")
    rng = wiring.dice(seed)
    played = Month(app.practice, people(patients, rng, start, lend), start, days, rng)
    began = time.monotonic()
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("Playing the month", total=days)
        for now in played.play():
            progress.update(
                task,
                completed=(now - start) / timedelta(days=1),
                description=f"{now:%a %d %b}, {played.post.sent} messages",
            )
    console.print(page(played, time.monotonic() - began))
    left = rests(played)
    app.close()
    raise typer.Exit(0 if left.nothing else 1)
