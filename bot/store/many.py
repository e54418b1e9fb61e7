"""What the charts of many patients hold, each kind of it read in one statement."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    JSON,
    ColumnElement,
    Connection,
    Integer,
    Select,
    any_,
    bindparam,
    func,
    select,
)
from sqlalchemy.dialects.postgresql import ARRAY

from bot.core.protocol import FactValue
from bot.core.record import ItemStatus, Party
from bot.store.prepared import Prepared
from bot.store.tables import CONTACT, FACT, ITEM, SURGERY

About = Callable[[ColumnElement[bool]], Select[Any]]


class ForMany:
    """One statement about many rows; each database has its own way to say "one of these"."""

    def __init__(self, column: ColumnElement[int], about: About) -> None:
        listed = func.json_each(bindparam("ids", type_=JSON)).table_valued("value", name="listed")
        self._on_sqlite = Prepared(about(column.in_(select(listed.c.value))))
        self._elsewhere = Prepared(about(column == any_(bindparam("ids", type_=ARRAY(Integer)))))

    def rows(
        self, connection: Connection, ids: Iterable[int], values: Mapping[str, Any] | None = None
    ) -> Sequence[Any]:
        """Run it and give every row; a row has its columns as attributes."""
        own = self._on_sqlite if connection.dialect.name == "sqlite" else self._elsewhere
        return own.rows(connection, {"ids": list(ids), **(values or {})})


_FACTS = ForMany(
    FACT.c.patient_id,
    lambda theirs: select(FACT.c.patient_id, FACT.c.name, FACT.c.value).where(theirs),
)
_ITEMS = ForMany(
    ITEM.c.patient_id,
    lambda theirs: (
        select(ITEM.c.patient_id, ITEM.c.name, ITEM.c.value, ITEM.c.by, ITEM.c.at)
        .join(
            SURGERY,
            (SURGERY.c.patient_id == ITEM.c.patient_id) & (SURGERY.c.revision == ITEM.c.generation),
        )
        .where(theirs)
        .order_by(ITEM.c.at, ITEM.c.id)
    ),
)
_SAME_PHONE = CONTACT.alias("same_phone")
# The address that messages go to comes last, in the order of `patients.address_of`.
_REACH = ForMany(
    CONTACT.c.patient_id,
    lambda theirs: (
        select(CONTACT)
        .add_columns(
            select(func.count())
            .where(
                _SAME_PHONE.c.channel == CONTACT.c.channel,
                _SAME_PHONE.c.address == CONTACT.c.address,
            )
            .scalar_subquery()
            .label("people")
        )
        .where(theirs, CONTACT.c.coach_id.is_(None))
        .order_by(CONTACT.c.stopped_at.is_(None), CONTACT.c.wrong_at.is_(None), CONTACT.c.id)
    ),
)


@dataclass(frozen=True, slots=True)
class Reach:
    """A patient's own address that messages go to, and whether nobody else is on file at it."""

    party: Party
    alone: bool


def reach_of_all(connection: Connection, patients: Sequence[int]) -> dict[int, Reach]:
    """How each patient is reached; who has no address is left out."""
    return {row.patient_id: _reach(row) for row in _REACH.rows(connection, patients)}


def _reach(row: Any) -> Reach:  # noqa: ANN401 - a row
    stopped = row.stopped_at is not None or row.wrong_at is not None
    return Reach(Party(row.patient_id, row.channel, row.address, None, stopped), row.people == 1)


def facts_of_all(
    connection: Connection, patients: Sequence[int]
) -> Mapping[int, dict[str, FactValue]]:
    """All that is known about each patient; nothing: an empty dict."""
    found: dict[int, dict[str, FactValue]] = defaultdict(dict)
    for row in _FACTS.rows(connection, patients):
        found[row.patient_id][row.name] = row.value
    return found


def items_of_all(
    connection: Connection, patients: Sequence[int]
) -> Mapping[int, dict[str, ItemStatus]]:
    """What is recorded in the present revision of each patient's operation."""
    found: dict[int, dict[str, ItemStatus]] = defaultdict(dict)
    for row in _ITEMS.rows(connection, patients):
        found[row.patient_id][row.name] = ItemStatus(row.name, row.value, row.by, row.at)
    return found
