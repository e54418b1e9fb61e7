"""Opens the service as it is configured, or says what is wrong and stops."""

import os
from pathlib import Path

import typer
from sqlalchemy.engine import make_url

from bot import wiring
from bot.config import ConfigFaults, load_settings
from bot.config_sections import Settings
from bot.content.snapshot import snapshot
from bot.service import publishing


def settings_or_stop() -> Settings:
    """The checked settings; on faults all of them are printed and the command ends with 2."""
    try:
        return load_settings(os.environ)
    except ConfigFaults as wrong:
        for fault in wrong.faults:
            typer.echo(f"Configuration: {fault}", err=True)
        raise typer.Exit(2) from None


def prepare_folder(settings: Settings) -> None:
    """Make the folder of an SQLite file when it is missing."""
    file = make_url(settings.database).database
    if settings.database.startswith("sqlite") and file and file != ":memory:":
        Path(file).parent.mkdir(parents=True, exist_ok=True)


def open_app(settings: Settings) -> wiring.App:
    """The service on the configured store; the data folder is made when it is missing."""
    prepare_folder(settings)
    app = wiring.build(settings.database)
    app.telegram_bot = settings.telegram.bot_name if settings.telegram else None
    publishing.keep_for_later(app.engine, snapshot(app.flows), app.clock())
    return app
