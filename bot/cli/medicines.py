"""The names of medicines are read before the first reply, or the command stops and says why."""

import typer

from bot.content.medicines import MedicinesFault, medicine_names


def medicines_or_stop() -> None:
    """Read the names of medicines now: no first patient waits, and no reply meets a fault."""
    try:
        medicine_names()
    except MedicinesFault as wrong:
        typer.echo(f"Names of medicines: {wrong}", err=True)
        raise typer.Exit(2) from None
