"""Whose turn it is: due rows of patients whom no other worker has in hand.

On PostgreSQL the patients are locked with SKIP LOCKED, so that workers share the work without
waiting for one another; on SQLite the transaction itself keeps the others out. A row may have been
settled between the query and its lock: so what is due is asked once more under the lock, the
patient's oldest first, which also keeps each patient's prompts in order.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import BindParameter, ColumnElement, Connection, bindparam, or_, select

from bot.store.many import ForMany
from bot.store.prepared import Prepared
from bot.store.tables import CONVERSATION, PATIENT, PROMPT


@dataclass(frozen=True, slots=True)
class Due:
    """One row that is due: of whom, since when, and its id."""

    patient: int
    at: datetime
    row: int


BEGINNING = Due(0, datetime(1970, 1, 1, tzinfo=UTC), 0)


def _after(at: ColumnElement[datetime], row: ColumnElement[int]) -> ColumnElement[bool]:
    """True of rows behind the last one looked at; the first condition is for the index."""
    moment: BindParameter[datetime] = bindparam("moment")
    place: BindParameter[int] = bindparam("place")
    return (at >= moment) & or_(at > moment, row > place)


_NEXT_PROMPT = Prepared(
    select(PROMPT.c.patient_id, PROMPT.c.due.label("at"), PROMPT.c.id.label("row"))
    .join(PATIENT, PATIENT.c.id == PROMPT.c.patient_id)
    .where(PROMPT.c.state == "planned", PROMPT.c.due <= bindparam("now"))
    .where(_after(PROMPT.c.due, PROMPT.c.id))
    .order_by(PROMPT.c.due, PROMPT.c.id)
    .limit(bindparam("most"))
    .with_for_update(of=PATIENT, skip_locked=True)
)
_NEXT_CHAT = Prepared(
    select(
        CONVERSATION.c.patient_id,
        CONVERSATION.c.wake_at.label("at"),
        CONVERSATION.c.patient_id.label("row"),
    )
    .join(PATIENT, PATIENT.c.id == CONVERSATION.c.patient_id)
    .where(CONVERSATION.c.wake_at <= bindparam("now"))
    .where(_after(CONVERSATION.c.wake_at, CONVERSATION.c.patient_id))
    .order_by(CONVERSATION.c.wake_at, CONVERSATION.c.patient_id)
    .limit(bindparam("most"))
    .with_for_update(of=PATIENT, skip_locked=True)
)
_OWN_PROMPTS = ForMany(
    PROMPT.c.patient_id,
    lambda theirs: (
        select(PROMPT.c.patient_id, PROMPT.c.id.label("row"))
        .where(theirs, PROMPT.c.state == "planned", PROMPT.c.due <= bindparam("now"))
        .order_by(PROMPT.c.due.desc(), PROMPT.c.id.desc())
    ),
)
_OWN_CHATS = ForMany(
    CONVERSATION.c.patient_id,
    lambda theirs: select(CONVERSATION.c.patient_id, CONVERSATION.c.patient_id.label("row")).where(
        theirs, CONVERSATION.c.wake_at <= bindparam("now")
    ),
)


def next_prompts(connection: Connection, now: datetime, after: Due, most: int) -> Sequence[Due]:
    """Lock the patients of the next due prompts behind `after`; none: no more that is free."""
    return _next(_NEXT_PROMPT, connection, now, after, most)


def next_chats(connection: Connection, now: datetime, after: Due, most: int) -> Sequence[Due]:
    """Lock the patients of the next chats whose timer has rung; none: no more that is free."""
    return _next(_NEXT_CHAT, connection, now, after, most)


def prompts_of(connection: Connection, whose: Sequence[int], now: datetime) -> dict[int, int]:
    """The id of each locked patient's oldest due prompt; none: it was settled meanwhile."""
    found = _OWN_PROMPTS.rows(connection, whose, {"now": now})
    return {row.patient_id: row.row for row in found}  # the oldest comes last and stays


def chats_of(connection: Connection, whose: Sequence[int], now: datetime) -> dict[int, int]:
    """Those of the locked patients whose timer still rings."""
    found = _OWN_CHATS.rows(connection, whose, {"now": now})
    return {row.patient_id: row.row for row in found}


def _next(
    query: Prepared, connection: Connection, now: datetime, after: Due, most: int
) -> Sequence[Due]:
    which = {"now": now, "moment": after.at, "place": after.row, "most": most}
    return [Due(row.patient_id, row.at, row.row) for row in query.rows(connection, which)]
