"""`countdown doctor`: what is configured, what can be reached, what is wrong, for those in IT."""

import os
from collections import Counter
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table
from sqlalchemy.exc import SQLAlchemyError

from bot.channels.doctor_checks import Finding, Health, channel_findings
from bot.cli.check import shipped
from bot.clock import system_clock
from bot.config import DEFAULT_FILE, FILE_VARIABLE, ConfigFaults, load_settings
from bot.config_sections import Settings
from bot.content.check import faults_in
from bot.service import watching, workers
from bot.store.engine import open_engine, reading
from bot.store.schema import differences, revision

_LOOK = {Health.WELL: "green", Health.OFF: "dim", Health.DOUBTFUL: "yellow", Health.WRONG: "red"}


def doctor(
    seconds: Annotated[float, typer.Option(help="How long to wait for each answer.")] = 5.0,
) -> None:
    """Say what is configured, reachable and wrong. Exit 1 if anything is wrong.

    Sends no message to anyone.

    Example:

        countdown doctor
    """
    try:
        settings = load_settings(os.environ)
    except ConfigFaults as faults:
        found = [Finding("settings", Health.WRONG, str(fault)) for fault in faults.faults]
    else:
        found = [source(Path()), content(), database(settings), *processes(settings)]
        found += channel_findings(settings, system_clock(), seconds)
    _show(found)
    if any(finding.health is Health.WRONG for finding in found):
        raise typer.Exit(1)


def source(folder: Path) -> Finding:
    """Where the settings came from."""
    path = folder / os.environ.get(FILE_VARIABLE, DEFAULT_FILE)
    if path.is_file():
        return Finding("settings", Health.WELL, f"{path} and the environment are free of faults")
    return Finding("settings", Health.WELL, "from the environment; there is no countdown.toml")


def content() -> Finding:
    """Whether the flow files may go live."""
    faults = faults_in(shipped())
    if faults:
        return Finding("flows", Health.WRONG, f"{len(faults)} faults", "Run: countdown check")
    return Finding("flows", Health.WELL, "no faults")


def database(settings: Settings) -> Finding:
    """Whether the database opens, with the tables of this version of the program.

    Never quotes the URL: it may hold a password.
    """
    kind = settings.database.partition(":")[0]
    try:
        engine = open_engine(settings.database)
        with reading(engine) as connection:
            connection.exec_driver_sql("SELECT 1")
        made, differs = revision(engine), differences(engine)
    except (SQLAlchemyError, ModuleNotFoundError) as error:
        mend = "Check COUNTDOWN_DATABASE, that the server runs and that its folder can be written."
        says = f"{kind} does not open: {type(error).__name__}"
        return Finding("database", Health.WRONG, says, mend)
    if made is None:
        return Finding("database", Health.WELL, f"{kind} opens; it is empty, and made at the start")
    if differs:
        says = f"{kind} opens, with the tables of another version ({made}) of the program"
        mend = "An older one is brought up to date when countdown serve starts. Back it up first."
        return Finding("database", Health.DOUBTFUL, says, mend)
    return Finding("database", Health.WELL, f"{kind} opens")


def processes(settings: Settings) -> list[Finding]:
    """Which roles a living process of `countdown serve` holds, and what stands still."""
    engine, now = open_engine(settings.database), system_clock()
    try:
        held = Counter(role for each in workers.alive(engine, now) for role in each.roles)
        still = watching.standstills(engine, now) if held else []
    except (SQLAlchemyError, ModuleNotFoundError):
        return []  # the database's own line says what is wrong, or it was never started
    if not held:
        return [Finding("processes", Health.OFF, "none is running", "Run: countdown serve")]
    told = ", ".join(f"{held[role]} {role}" for role in watching.NEEDED if held[role])
    missing = [role for role in watching.NEEDED if not held[role]]
    mend = f"Run: countdown serve --role {' --role '.join(missing)}" if missing else ""
    health = Health.WRONG if missing else Health.WELL
    return [
        Finding("processes", health, told, mend),
        *(
            Finding(
                each.role,
                Health.WRONG,
                f"stands still since {each.since:%d %b %H:%M} UTC",
                "Look at its log; end it and start it again.",
            )
            for each in still
        ),
    ]


def _show(found: list[Finding]) -> None:
    table = Table(box=None, pad_edge=False)
    for heading in ("", "what", "how it is", "what to do"):
        table.add_column(heading, overflow="fold")
    for finding in found:
        style = _LOOK[finding.health]
        state = f"[{style}]{finding.health}[/{style}]"
        table.add_row(state, finding.subject, escape(finding.says), escape(finding.mend))
    Console().print(table)
