"""When something next has to happen, over every kind of row that waits for a moment."""

from datetime import datetime

from sqlalchemy import Connection, func, select

from bot.store import outbox
from bot.store.tables import CONVERSATION, PROMPT, SURGERY
from bot.store.tables_log import ESCALATION

_WAITING = (
    select(func.min(PROMPT.c.due)).where(PROMPT.c.state == "planned"),
    select(func.min(CONVERSATION.c.wake_at)),
    select(func.min(ESCALATION.c.deadline_at)).where(ESCALATION.c.closed_at.is_(None)),
    select(func.min(SURGERY.c.nurse_due)).where(SURGERY.c.status == "planned"),
)


def next_moment(connection: Connection) -> datetime | None:
    """The earliest due prompt, timer, message, escalation deadline or missing start; None: idle."""
    moments = [connection.execute(query).scalar() for query in _WAITING]
    moments.append(outbox.next_try(connection))
    return min((moment for moment in moments if moment is not None), default=None)
