"""Brings a database to the present schema, and says whether it has it."""

from pathlib import Path

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import Connection, Engine, func, select

from bot.store.engine import writing
from bot.store.tables_content import METADATA

_ONE_AT_A_TIME = 0xC0DE_0001  # any number that no other lock of this program has
_HERE = Path(__file__).parent / "migrations"


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Run every migration that the database has not seen, in one transaction.

    Of several processes that start at once one does it, and the others wait for it.
    """
    with writing(engine) as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(select(func.pg_advisory_xact_lock(_ONE_AT_A_TIME)))
        command.upgrade(_config(connection), revision)


def revision(engine: Engine) -> str | None:
    """The newest migration that the database has seen; None when it was never made."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


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
