"""`countdown check`: are the content files fit to go live?"""

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from bot.content.check import faults_in


def shipped() -> Path:
    """The content directory that comes with the program."""
    return Path(str(files("flows")))


def check(
    directory: Annotated[
        Path | None, typer.Argument(help="Content directory; the shipped one if left out.")
    ] = None,
) -> None:
    """Check the content files: exit 0 when they may go live, 1 with every fault listed.

    Each fault is `CODE file:line: what. How to mend.`

    Examples:

        countdown check

        countdown check /srv/countdown/flows
    """
    faults = faults_in(directory or shipped())
    for fault in faults:
        typer.echo(str(fault))
    if faults:
        typer.echo(f"{len(faults)} faults.", err=True)
        raise typer.Exit(1)
    typer.echo("No faults.")
