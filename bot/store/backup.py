"""Copies of an SQLite store taken while it is in use, and the proof that a copy is whole."""

import sqlite3
from contextlib import closing
from pathlib import Path


class BackupFault(RuntimeError):
    """A copy that must not be trusted, or a place where none may be put."""


def back_up(source: Path, target: Path) -> dict[str, int]:
    """Copy a running store to `target`; return its rows by table.

    Uses SQLite's online backup, so the service goes on meanwhile; the copy is one moment's state.
    Raises BackupFault when `target` exists or the copy does not pass its check.
    """
    if not source.is_file():
        raise BackupFault(f"{source} is not there. Give the file of the running store.")
    if target.exists():
        raise BackupFault(f"{target} exists already. Give a name that is free.")
    unfinished = target.with_suffix(target.suffix + ".part")
    unfinished.unlink(missing_ok=True)
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(unfinished)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
    counts = verify(unfinished)
    unfinished.replace(target)
    return counts


def restore(copy: Path, target: Path) -> dict[str, int]:
    """Put a copy in the place of a store that is not there any more; return its rows by table."""
    verify(copy)
    return back_up(copy, target)


def verify(path: Path) -> dict[str, int]:
    """Check a store's pages and references and count its rows. Raises BackupFault."""
    if not path.is_file():
        raise BackupFault(f"{path} is not there.")
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as store:
            found = store.execute("PRAGMA integrity_check").fetchone()[0]
            dangling = store.execute("PRAGMA foreign_key_check").fetchall()
            tables = [row[0] for row in store.execute(_TABLES)]
            counts = {name: _count(store, name) for name in tables}
    except sqlite3.DatabaseError as error:
        raise BackupFault(f"{path} cannot be read: {error}.") from error
    if found != "ok" or dangling or "patient" not in counts:
        raise BackupFault(f"{path} is not whole: {found}, {len(dangling)} dangling references.")
    return counts


_TABLES = (
    "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
)


def _count(store: sqlite3.Connection, table: str) -> int:
    counted: int = store.execute(f'SELECT count(*) FROM "{table}"').fetchone()[0]  # noqa: S608
    return counted
