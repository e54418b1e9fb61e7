"""`countdown demo`: plays a story of demo_scripts/ on a virtual clock."""

import tempfile
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table

from bot import wiring
from bot.play.judging import faults_of
from bot.play.player import Clock, Player
from bot.play.scenario import Scenario, ScenarioFault, list_scenarios
from bot.play.telling import surgery_dates, tell
from bot.play.threads import render

STORIES = Path(__file__).resolve().parents[2] / "demo_scripts"


def demo(
    name: Annotated[str, typer.Argument(help="The story to play.")] = "fever_postponed",
    list_them: Annotated[bool, typer.Option("--list", help="List the stories and stop.")] = False,
    folder: Annotated[
        Path | None,
        typer.Option(
            help="Keep the database and the phones here. A story that was stopped at any point "
            "goes on from there when it is called again."
        ),
    ] = None,
    stories: Annotated[Path, typer.Option(help="Where the story files are.")] = STORIES,
) -> None:
    """Play an invented story: what patient, coach and nurse write and get, in time order.

    Exit 1 where it did not go as the `expect` of its file says.

    Examples:

        countdown demo                                  the fever, two days before surgery

        countdown demo --list                           all stories

        countdown demo silent_patient                   one of them

        countdown demo all_well --folder /tmp/story     stop it with Ctrl-C, call it again
    """
    console = Console()
    try:
        found = list_scenarios(stories)
    except ScenarioFault as fault:
        raise typer.BadParameter(str(fault)) from fault
    if list_them:
        console.print(_listing(found.values()))
        return
    if name not in found:
        raise typer.BadParameter(f"'{name}' is not a story. Known: {', '.join(found)}.")
    with ExitStack() as stack:
        kept = folder or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        kept.mkdir(parents=True, exist_ok=True)
        faults = _play(found[name], kept, console)
    for each in faults:
        typer.echo(f"Not as the story's file expects: {each}", err=True)
    if faults:
        raise typer.Exit(1)


def _listing(stories: Iterable[Scenario]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("story", no_wrap=True)
    table.add_column("what happens")
    for story in stories:
        table.add_row(story.scenario, story.title)
    return table


def _play(story: Scenario, folder: Path, console: Console) -> list[str]:
    """Play it and print it; return every expectation of its file that was not met."""
    clock = Clock(folder / "clock")
    app = wiring.build(f"sqlite:///{folder / 'story.db'}", clock=clock)
    player = Player(story, app.practice, folder, clock)
    start = story.instant(story.enrolled)
    days = (story.until - story.enrolled).days
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("day {task.completed:.0f}"),
    )
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("Playing the countdown", total=days)
        for now in player.play():
            progress.update(task, completed=(now - start).days)
    console.print(f"[bold]{story.title}[/bold]\n{story.about}")
    console.print("Everyone and everything here is invented.", style="dim")
    lines = tell(story, player.phones, app.practice, clock.now)
    dates = surgery_dates(story, app.practice, clock.now)
    console.print(render(lines, story.zone, dates))
    faults = faults_of(player, clock.now)
    app.close()
    return faults
