"""`countdown review-sheet`: all texts in every language, side by side, to print and sign."""

from pathlib import Path
from typing import Annotated

import typer

from bot.cli.check import shipped
from bot.clock import system_clock
from bot.content.faults import ContentFaults
from bot.content.review_sheet import review_sheet


def sheet(
    to: Annotated[Path, typer.Argument(help="The HTML file to write.")],
    directory: Annotated[
        Path | None, typer.Option("--flows", help="Content directory; the shipped one if left out.")
    ] = None,
) -> None:
    """Write all texts side by side, with sources and boxes to sign, as one HTML page.

    Print it from a browser, or save it there as PDF.

    Examples:

        countdown review-sheet texts.html

        countdown review-sheet texts.html --flows /srv/countdown/flows
    """
    try:
        page = review_sheet(directory or shipped(), f"{system_clock():%Y-%m-%d}")
    except ContentFaults as faults:
        typer.echo(str(faults), err=True)
        raise typer.Exit(1) from faults
    to.write_text(page, encoding="utf-8")
    typer.echo(f"{to} is written. Open it in a browser and print it.")
