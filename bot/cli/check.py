"""`countdown check`: are the content files fit to go live?"""

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from bot.clock import system_clock
from bot.content.check import faults_in
from bot.content.check_guidance import OwnRules, own_rules
from bot.content.fault_codes import faults_page
from bot.content.faults import ContentFaults


def shipped() -> Path:
    """The content directory that comes with the program."""
    return Path(str(files("flows")))


def check(
    directory: Annotated[
        Path | None, typer.Argument(help="Content directory; the shipped one if left out.")
    ] = None,
    language: Annotated[
        list[str] | None,
        typer.Option(help="A language that must be complete too: ht, vi; repeatable."),
    ] = None,
    rules: Annotated[
        bool, typer.Option("--rules", help="Show how each surgeon's rules differ.")
    ] = False,
    codes: Annotated[bool, typer.Option("--codes", help="Print what each code means.")] = False,
) -> None:
    """Check the content files: exit 0 when they may go live, 1 with every fault listed.

    Each fault is `CODE file:line: what. How to mend.` Warnings (W) stop nothing.

    Examples:

        countdown check

        countdown check /srv/countdown/flows --rules

        countdown check /srv/countdown/flows --language vi
    """
    if codes:
        typer.echo(faults_page(), nl=False)
        return
    content = directory or shipped()
    faults = faults_in(content, system_clock().date(), language or ())
    for fault in faults:
        typer.echo(str(fault))
    _tell_rules(content, differences=rules)
    if faults:
        typer.echo(f"{len(faults)} faults.", err=True)
        raise typer.Exit(1)
    typer.echo("No faults.")


def _tell_rules(content: Path, *, differences: bool) -> None:
    """Where rules leave published guidance and, when asked, how surgeons differ."""
    try:
        found = tuple(own_rules(content))
    except ContentFaults:
        return  # told among the faults
    for own in found:
        for warning in own.warnings:
            typer.echo(str(warning))
        if differences and own.differences:
            _tell_differences(own)


def _tell_differences(own: OwnRules) -> None:
    typer.echo(f"{own.surgeon} ({own.file}) differs from the hospital's rules:")
    for rule in own.differences:
        before, now = rule.first or "(not set)", rule.second or "(not set)"
        typer.echo(f"  {rule.name}: {before} -> {now}")
