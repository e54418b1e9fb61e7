"""When something next has to happen, over every kind of row that waits for a moment."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlalchemy import Connection, func, select

from bot.store import outbox
from bot.store.prepared import Prepared
from bot.store.tables import CONVERSATION, PROMPT, SURGERY
from bot.store.tables_log import ESCALATION, OUTBOUND
from bot.store.tables_reach import KEPT_TEXT

_WAITING = Prepared(
    select(
        select(func.min(PROMPT.c.due)).where(PROMPT.c.state == "planned").scalar_subquery(),
        select(func.min(CONVERSATION.c.wake_at)).scalar_subquery(),
        select(func.min(ESCALATION.c.deadline_at))
        .where(ESCALATION.c.closed_at.is_(None))
        .scalar_subquery(),
        select(func.min(KEPT_TEXT.c.expires_at))
        .where(KEPT_TEXT.c.closed_at.is_(None))
        .scalar_subquery(),
        select(func.min(SURGERY.c.nurse_due))
        .where(SURGERY.c.status == "planned")
        .scalar_subquery(),
    )
)
_CLAIMED = Prepared(
    select(func.min(OUTBOUND.c.changed_at).label("at")).where(
        OUTBOUND.c.state == "claimed", OUTBOUND.c.claimed_by.is_(None)
    )
)


def next_moment(connection: Connection, left_behind: timedelta) -> datetime | None:
    """The earliest moment of anything that waits for one; None: idle.

    A message that somebody claimed is due again after `left_behind`: its sender may have died.
    """
    return _earliest((next_tick(connection), next_relay(connection, left_behind)))


def next_tick(connection: Connection) -> datetime | None:
    """The earliest moment of what is not a message: one statement, cheap enough for every tick."""
    return _earliest(_WAITING.rows(connection, {})[0])


def next_relay(connection: Connection, left_behind: timedelta) -> datetime | None:
    """When the first message may be tried, or taken up from a sender that died."""
    claimed = _CLAIMED.rows(connection, {})[0].at
    taken_up = claimed + left_behind if claimed else None
    return _earliest((outbox.next_try(connection), taken_up))


def _earliest(moments: Iterable[datetime | None]) -> datetime | None:
    return min((moment for moment in moments if moment is not None), default=None)
