"""`countdown publish` and `countdown versions`: which content is live, who changed it, and back."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from bot.cli.opening import open_app, settings_or_stop
from bot.content.faults import ContentFaults
from bot.content.snapshot import snapshot
from bot.core.countdown import local
from bot.core.differences import MessageDifference
from bot.service import publishing
from bot.service.publishing import Published, PublishFault
from bot.service.touched import Touched
from bot.wiring import App

Zone = Annotated[str, typer.Option(help="The hospital's time zone, for the times shown.")]
By = Annotated[str, typer.Option("--by", help="Your name, for the log.")]
Note = Annotated[str, typer.Option("--note", help="What changes and why, for the log.")]
versions = typer.Typer(
    help="Which content went live, when, by whom, and why.", invoke_without_command=True
)


def publish(
    directory: Annotated[Path, typer.Argument(help="The content directory.", exists=True)],
    by: By = "",
    note: Note = "",
    dry: Annotated[
        bool, typer.Option("--dry-run", help="Only say whom it would touch; publish nothing.")
    ] = False,
    zone: Zone = "America/New_York",
) -> None:
    """Check content and let it go live. Conversations under way end on their own version.

    Examples:

        countdown publish my-flows --dry-run

        countdown publish my-flows --by "Nurse Ortiz" --note "shorter wash steps"
    """
    app = open_app(settings_or_stop())
    new = snapshot(directory)
    try:
        if dry:
            _tell_touched(app.touched(new), zone)
        else:
            _tell(app.publish(new, by, note))
    except (ContentFaults, PublishFault) as fault:
        typer.echo(str(fault), err=True)
        raise typer.Exit(1) from fault
    finally:
        app.close()


@versions.callback()
def listed(context: typer.Context, zone: Zone = "America/New_York") -> None:
    """List what went live, the newest first; the first line is what patients get now.

    Examples:

        countdown versions

        countdown versions back --by "Nurse Ortiz"
    """
    if context.invoked_subcommand is not None:
        return
    app = open_app(settings_or_stop())
    _print_history(app, zone)
    app.close()


@versions.command()
def back(by: By = "", note: Note = "") -> None:
    """Go back to the version that was live before, in one step."""
    app = open_app(settings_or_stop())
    try:
        _tell(app.go_back(by, note))
    except PublishFault as fault:
        typer.echo(str(fault), err=True)
        raise typer.Exit(1) from fault
    finally:
        app.close()


def _print_history(app: App, zone: str) -> None:
    log = publishing.history(app.engine)
    if not log:
        typer.echo("Nothing was published: the content that ships is live.")
        return
    table = Table()
    for head in ("Version", "When", "Who", "Why"):
        table.add_column(head, overflow="fold")
    for entry in log:
        at = local(entry.at, zone)
        table.add_row(entry.revision, f"{at:%Y-%m-%d %H:%M %Z}", entry.who, entry.note)
    Console().print(table, markup=False)


def _tell(done: Published) -> None:
    typer.echo(f"Version {done.publication.revision} is live. {len(done.changed)} files changed:")
    for name in done.changed:
        typer.echo(f"  {name}")


def _tell_touched(found: tuple[Touched, ...], zone: str) -> None:
    for each in found:
        typer.echo(f"{each.reference} {each.name}: {len(each.messages)} messages change")
        for difference in each.messages:
            typer.echo(f"  {_change(difference, zone)}")
        for flow in each.later:
            typer.echo(f"  {flow}: goes on in another way, if it comes to that")
        for flow in each.ends_on_old:
            typer.echo(f"  {flow}: under way, ends on the version it began with")
    typer.echo(f"{len(found)} patients would be touched. Nothing was published.")


def _change(difference: MessageDifference, zone: str) -> str:
    before, after = difference.first, difference.second
    if before is None and after is not None:
        return f"{difference.key}: new, {local(after.message.due, zone):%a %b %d %H:%M}"
    if after is None:
        return f"{difference.key}: no longer sent"
    moved = f" at {local(after.message.due, zone):%a %b %d %H:%M}" if difference.moved else ""
    return f"{difference.key}: {'moved' if moved else 'other words'}{moved}"
