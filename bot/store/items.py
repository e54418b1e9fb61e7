"""What is recorded about each item of a countdown."""

from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from bot.core.record import ItemStatus, Operation
from bot.store.engine import upsert
from bot.store.prepared import Prepared
from bot.store.tables import ITEM

_ITEMS = Prepared(
    select(ITEM.c.name, ITEM.c.value, ITEM.c.by, ITEM.c.at)
    .where(ITEM.c.patient_id == bindparam("patient"), ITEM.c.generation == bindparam("revision"))
    .order_by(ITEM.c.at, ITEM.c.id)
)


def record_item(
    connection: Connection, operation: Operation, name: str, value: str, by: str, now: datetime
) -> None:
    """Store one item's status in the present revision: one row each, the last word counts."""
    values = {
        "patient_id": operation.patient,
        "name": name,
        "generation": operation.revision,
        "value": value,
        "by": by,
        "at": now,
    }
    upsert(connection, ITEM, values, ("patient_id", "name", "generation"))


def items_of(connection: Connection, operation: Operation) -> dict[str, ItemStatus]:
    """What is recorded in the operation's present revision."""
    whose = {"patient": operation.patient, "revision": operation.revision}
    return {
        row.name: ItemStatus(row.name, row.value, row.by, row.at)
        for row in _ITEMS.rows(connection, whose)
    }
