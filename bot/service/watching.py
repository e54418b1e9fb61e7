"""Sees from the record alone that the scheduler or the relay stands still, and tells a person.

Whatever the cause (no process, a hung one, a fault in each round), its trace is the same: what was
due is still due. So every process can watch, also one on another machine.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Engine

from bot.core.record import Message, OnCall
from bot.service.workers import alive
from bot.store import due, outbox
from bot.store.engine import reading, writing

LATE = timedelta(minutes=2)  # the scheduler looks every two seconds (our choice)
SLOW = timedelta(minutes=5)  # a provider may be slow, or may have asked for a pause (our choice)
AGAIN = timedelta(minutes=30)  # how often a person is told of the same standstill (our choice)
NEEDED = ("scheduler", "relay", "receiver", "web")


@dataclass(frozen=True, slots=True)
class Standstill:
    """What does not go on, and since when something has been waiting for it."""

    role: str  # "scheduler" or "relay"
    since: datetime


def standstills(engine: Engine, now: datetime) -> list[Standstill]:
    """What stands still at this moment; empty when all goes on."""
    with reading(engine) as connection:
        waits = (
            ("scheduler", due.next_tick(connection), LATE),
            ("relay", outbox.next_try(connection), SLOW),
        )
    return [Standstill(role, since) for role, since, most in waits if since and since < now - most]


def missing_roles(engine: Engine, now: datetime) -> list[str]:
    """The roles that no living worker holds."""
    held = {role for worker in alive(engine, now) for role in worker.roles}
    return [role for role in NEEDED if role not in held]


def tell(
    engine: Engine, found: Sequence[Standstill], people: Sequence[OnCall], now: datetime
) -> int:
    """Queue a message to each person for each standstill, once in AGAIN however many watch."""
    told = 0
    for standstill in found:
        times = (now - standstill.since) // AGAIN
        with writing(engine) as connection:
            for person in people:
                told += (
                    outbox.queue(connection, _notice(standstill, person, times, now)) is not None
                )
    return told


def _notice(standstill: Standstill, person: OnCall, times: int, now: datetime) -> Message:
    role, since = standstill.role, standstill.since
    return Message(
        key=f"standstill.{role}.{since:%Y%m%dT%H%M%S}.{times}.{person.channel}.{person.address}",
        patient=None,
        to_role="staff",
        name=person.name,
        channel=person.channel,
        address=person.address,
        text=f"The countdown's {role} stands still since {since:%H:%M} UTC: {_MEANS[role]}"
        " Run: countdown doctor",
        choices=(),
        queued_at=now,
        not_after=now + AGAIN,
    )


_MEANS = {
    "scheduler": "no prompts go out and no escalation climbs.",
    "relay": "messages wait and are not sent.",
}
