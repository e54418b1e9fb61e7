"""`countdown backup`, `restore` and `copy-store`: copies of the store, each proven whole."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer
from sqlalchemy.engine import make_url

from bot.cli.opening import settings_or_stop
from bot.store.backup import BackupFault, back_up
from bot.store.backup import restore as put_back
from bot.store.copying import CopyFault
from bot.store.copying import copy_store as copy_all
from bot.store.engine import open_engine
from bot.store.schema import upgrade

Target = Annotated[Path, typer.Argument(help="Where the copy is, or is to be.")]


def backup(to: Target) -> None:
    """Copy the running SQLite store to a file, check the copy, and count its rows."""
    _told(lambda: back_up(_store(), to))


def restore(copy: Target) -> None:
    """Put a copy in the place of the configured SQLite store, which must not be there."""
    _told(lambda: put_back(copy, _store()))


def copy_store(
    source: Annotated[str, typer.Argument(help="SQLAlchemy URL of the store as it is.")],
    target: Annotated[str, typer.Argument(help="SQLAlchemy URL of an empty database.")],
) -> None:
    """Copy a store into another database, such as SQLite into PostgreSQL, counts compared.

    Stop the service first: what is written meanwhile would not be in the copy.
    """
    old, new = open_engine(source), open_engine(target)
    upgrade(new)
    _told(lambda: copy_all(old, new))


def _store() -> Path:
    url = make_url(settings_or_stop().database)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise BackupFault("The store is no SQLite file. Use pg_dump and pg_restore for PostgreSQL.")
    return Path(url.database)


def _told(copying: Callable[[], dict[str, int]]) -> None:
    try:
        counts = copying()
    except (BackupFault, CopyFault) as fault:
        typer.echo(str(fault), err=True)
        raise typer.Exit(1) from None
    for table, rows in counts.items():
        typer.echo(f"{rows:8} {table}")
