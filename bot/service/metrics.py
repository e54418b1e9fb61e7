"""What monitoring is told: how much waits and for how long. Counts only, never a name or a text."""

from dataclasses import fields
from datetime import datetime, timedelta

from prometheus_client import CollectorRegistry, Gauge, generate_latest
from sqlalchemy import Engine

from bot.store.backlog import Backlog, backlog
from bot.store.engine import reading

GRACE = timedelta(minutes=2)  # the scheduler looks every few seconds (our choice)
_HELP = {
    "prompts_late": "Prompts that were due more than two minutes ago and are not handled",
    "outbox": "Messages that wait to be sent",
    "outbox_age": "Seconds that the oldest of them has waited",
    "dead_letters": "Messages that could not be delivered, ever",
    "cases_open": "Escalations that are not closed",
    "cases_overdue": "Escalations past the time allowed, whose next contact was not told",
}


def waiting(engine: Engine, now: datetime) -> Backlog:
    """What waits at this moment; for /healthz and for the figures below."""
    with reading(engine) as connection:
        return backlog(connection, now, GRACE)


def exposition(engine: Engine, now: datetime) -> bytes:
    """The figures in the Prometheus text format."""
    registry, found = CollectorRegistry(), waiting(engine, now)
    for field in fields(Backlog):
        unit = "_seconds" if field.name.endswith("_age") else ""
        gauge = Gauge(f"countdown_{field.name}{unit}", _HELP[field.name], registry=registry)
        gauge.set(getattr(found, field.name))
    return generate_latest(registry)
