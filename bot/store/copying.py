"""Moves a whole store into another database, such as from SQLite into PostgreSQL."""

from sqlalchemy import Connection, Engine, Table, func, insert, select, text

from bot.store.tables_log import METADATA

BATCH = 1_000


class CopyFault(RuntimeError):
    """The copy was not made, or does not match; the target was left as it was."""


def copy_store(source: Engine, target: Engine) -> dict[str, int]:
    """Copy every row in one transaction and compare the counts; return them by table.

    Both stores are at the same migration; the target is empty. Nothing may write to the source
    meanwhile. Raises CopyFault, and then the target is as before.
    """
    counts: dict[str, int] = {}
    with source.connect() as old, target.begin() as new:
        _refuse_unlike(old, new)
        for table in METADATA.sorted_tables:
            _copy_table(old, new, table)
            counts[table.name] = _counted(new, table)
            if counts[table.name] != (there := _counted(old, table)):
                raise CopyFault(f"{table.name}: {there} rows, but {counts[table.name]} copied.")
            _go_on_counting(new, table)
    return counts


def _refuse_unlike(old: Connection, new: Connection) -> None:
    version = text("SELECT version_num FROM alembic_version")
    if old.execute(version).scalar() != new.execute(version).scalar():
        raise CopyFault("The two stores are at different migrations. Start each with this version.")
    for table in METADATA.sorted_tables:
        if _counted(new, table):
            raise CopyFault(f"The target's table {table.name} has rows. Give an empty database.")


def _copy_table(old: Connection, new: Connection, table: Table) -> None:
    rows = old.execution_options(yield_per=BATCH).execute(select(table)).mappings()
    for batch in rows.partitions(BATCH):
        new.execute(insert(table), [dict(row) for row in batch])


def _counted(connection: Connection, table: Table) -> int:
    counted: int = connection.execute(select(func.count()).select_from(table)).scalar_one()
    return counted


def _go_on_counting(new: Connection, table: Table) -> None:
    """PostgreSQL numbers new rows from a sequence that copied ids do not move."""
    key = table.primary_key.columns.values()
    if new.dialect.name != "postgresql" or [c.name for c in key] != ["id"]:
        return
    sequence = func.pg_get_serial_sequence(table.name, "id")
    highest = select(func.max(table.c.id)).scalar_subquery()
    if _counted(new, table):
        new.execute(select(func.setval(sequence, highest)))
