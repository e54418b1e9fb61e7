"""Brings a database to the present schema, and says whether it has it."""

from pathlib import Path

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import Connection, Engine

from bot.store.engine import writing
from bot.store.tables_content import METADATA

_HERE = Path(__file__).parent / "migrations"


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Run every migration that the database has not seen, in one transaction."""
    with writing(engine) as connection:
        command.upgrade(_config(connection), revision)


def differences(engine: Engine) -> list[object]:
    """List what the tables in code have and the migrated database has not, or the reverse."""
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return list(compare_metadata(context, METADATA))


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(_HERE))
    config.attributes["connection"] = connection
    return config
