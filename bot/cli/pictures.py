"""`countdown pictures`: each conversation and the whole countdown as drawings."""

from pathlib import Path
from typing import Annotated

import typer

from bot.cli.check import shipped
from bot.content.faults import ContentFaults
from bot.content.pictures.album import album, stale


def pictures(
    directory: Annotated[
        Path | None, typer.Argument(help="Content directory; the shipped one if left out.")
    ] = None,
    to: Annotated[Path, typer.Option(help="Folder for the drawings.")] = Path("docs/pictures"),
    check: Annotated[
        bool, typer.Option("--check", help="Write nothing; exit 1 when a drawing is old.")
    ] = False,
) -> None:
    """Draw each conversation as states, and the countdown as a timeline (SVG).

    Examples:

        countdown pictures

        countdown pictures --check
    """
    try:
        drawn = album(directory or shipped())
    except ContentFaults as faults:
        typer.echo(str(faults), err=True)
        raise typer.Exit(1) from faults
    old = stale(drawn, to)
    if check:
        for name in old:
            typer.echo(f"{to / name}: not as the content is now. Run `countdown pictures`.")
        raise typer.Exit(1 if old else 0)
    to.mkdir(parents=True, exist_ok=True)
    for name in old:
        if name in drawn:
            (to / name).write_text(drawn[name], encoding="utf-8")
        else:
            (to / name).unlink()
    typer.echo(f"{len(drawn)} files in {to}, {len(old)} of them changed.")
