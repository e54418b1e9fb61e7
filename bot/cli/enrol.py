"""`countdown import`: enrols a surgery schedule."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import track

from bot.cli.opening import open_app, settings_or_stop
from bot.content.schedule import read_schedule
from bot.service.importing import Imported, Outcome, take_in


def import_schedule(
    file: Annotated[Path, typer.Argument(help="The schedule, a CSV file.", exists=True)],
    zone: Annotated[
        str, typer.Option(help="The hospital's time zone, for rows that name none.")
    ] = "America/New_York",
    channel: Annotated[str, typer.Option(help="How the phones are reached.")] = "sms",
) -> None:
    """Enrol a surgery schedule. Good rows are kept whatever is wrong with others.

    Importing the same file again changes nothing; a changed date or time moves the surgery.

    Columns that must be there: patient_id, name, phone, born, joint, side, surgery_date, surgeon.
    May be there: language, start_time, arrival_time, zone, coach_name, coach_phone, coach_copies
    (everything, reminders or trouble_only), facts (smoker=yes; pets=no), medicine_holds
    (medicine | last dose date | prescriber | instruction; several divided by ;), consent (paper,
    class, or the name of the form; who has none is asked by text before anything else),
    shared_phone (yes: the patient's or the coach's number may be that of another person on file,
    and both know it; every message to it then begins with a name).

    Examples:

        countdown import demo_scripts/schedule.csv

        countdown import schedule.csv --zone America/Chicago
    """
    console = Console()
    app = open_app(settings_or_stop())
    schedule = read_schedule(file, zone, app.practice.book.languages)
    steps = take_in(app.care, schedule, channel)
    *_, done = track(steps, "Enrolling", total=len(schedule.rows) + 1, transient=True)
    _report(console, file, done)
    app.close()
    if done.faults:
        raise typer.Exit(1)


def _report(console: Console, file: Path, done: Imported) -> None:
    counts = ", ".join(f"{done.count(outcome)} {outcome}" for outcome in Outcome)
    console.print(f"{file.name}: {counts}, {len({f.line for f in done.faults})} not read.")
    for fault in done.faults:
        console.print(f"  {fault}", highlight=False)
    for reference in done.absent:
        console.print(
            f"  {reference} is enrolled and is not in this file. Nothing was changed: if the"
            " surgery is off, cancel it on the nurse's page."
        )
