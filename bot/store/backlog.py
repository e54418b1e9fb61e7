"""How much waits and for how long: the figures by which one sees that the service keeps up."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, func, select

from bot.store.tables import PROMPT
from bot.store.tables_log import ESCALATION, OUTBOUND

_WAITING = OUTBOUND.c.state.in_(("queued", "claimed"))
_LATE = (
    select(func.count())
    .select_from(PROMPT)
    .where(PROMPT.c.state == "planned", PROMPT.c.due < bindparam("before"))
)
_OUTBOX = select(func.count(), func.min(OUTBOUND.c.queued_at)).where(_WAITING)
_DEAD = select(func.count()).where(OUTBOUND.c.state.in_(("failed", "unknown")))
_CASES = select(func.count()).where(ESCALATION.c.closed_at.is_(None))
_OVERDUE = _CASES.where(ESCALATION.c.deadline_at < bindparam("before"))


@dataclass(frozen=True, slots=True)
class Backlog:
    """What waits at one moment. Ages in seconds; 0 when nothing waits."""

    prompts_late: int  # due more than the grace ago and not handled: the scheduler lags or stopped
    outbox: int
    outbox_age: float
    dead_letters: int
    cases_open: int
    cases_overdue: int  # past the time allowed: nobody was told in time


def backlog(connection: Connection, now: datetime, grace: timedelta) -> Backlog:
    """Count what waits; `grace` is how late the scheduler may be without being called late."""
    before = {"before": now - grace}
    waiting, oldest = connection.execute(_OUTBOX).one()
    return Backlog(
        prompts_late=connection.execute(_LATE, before).scalar_one(),
        outbox=waiting,
        outbox_age=max((now - oldest).total_seconds(), 0.0) if oldest else 0.0,
        dead_letters=connection.execute(_DEAD).scalar_one(),
        cases_open=connection.execute(_CASES).scalar_one(),
        cases_overdue=connection.execute(_OVERDUE, before).scalar_one(),
    )
