"""When something next has to happen, over every kind of row that waits for a moment."""

from datetime import datetime, timedelta

from sqlalchemy import Connection, func, select

from bot.store import outbox
from bot.store.tables import CONVERSATION, PROMPT, SURGERY
from bot.store.tables_log import ESCALATION, OUTBOUND

_WAITING = (
    select(func.min(PROMPT.c.due)).where(PROMPT.c.state == "planned"),
    select(func.min(CONVERSATION.c.wake_at)),
    select(func.min(ESCALATION.c.deadline_at)).where(ESCALATION.c.closed_at.is_(None)),
    select(func.min(SURGERY.c.nurse_due)).where(SURGERY.c.status == "planned"),
)


_CLAIMED = select(func.min(OUTBOUND.c.changed_at)).where(OUTBOUND.c.state == "claimed")


def next_moment(connection: Connection, left_behind: timedelta) -> datetime | None:
    """The earliest due prompt, timer, message, escalation deadline or missing start; None: idle.

    A message that somebody claimed is due again after `left_behind`: its sender may have died.
    """
    moments = [connection.execute(query).scalar() for query in _WAITING]
    moments.append(outbox.next_try(connection))
    claimed = connection.execute(_CLAIMED).scalar()
    moments.append(claimed + left_behind if claimed else None)
    return min((moment for moment in moments if moment is not None), default=None)
