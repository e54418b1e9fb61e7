"""Searches over all escalations, a few statements each however many rows there are."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    case,
    exists,
    func,
    select,
)

from bot.core.escalation import Case
from bot.store.escalations import entry
from bot.store.tables import CONTACT, SURGEON, SURGERY
from bot.store.tables_log import ESCALATION, ESCALATION_EVENT

TRIAL = "trial"  # the channel of patients who are not real: staff try things on them
_TAKEN = ("acknowledged", "patient_reached", "decided")
GRAVE = ("emergency", "urgent")
_RANKS = {"emergency": 0, "urgent": 1, "today": 2, "routine": 3}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the log is searched for; None and "" mean any. `until` is not included."""

    since: datetime | None = None
    until: datetime | None = None
    reason: str = ""
    surgeon: str = ""
    disposition: str = ""
    state: str = ""  # "open", "closed", or a standing


@dataclass(frozen=True, slots=True)
class Count:
    """How many open escalations are alike in this."""

    topic: str
    severity: str
    taken: bool
    trial: bool
    number: int


@dataclass(frozen=True, slots=True)
class Slice:
    """A part of a long list, newest first, and the places on either side to go on from."""

    ids: tuple[int, ...]
    older: int | None  # ask for what is before this id
    newer: int | None  # ask for what is after this id


def is_trial() -> ColumnElement[bool]:
    """True for the escalations of patients who are not real."""
    return exists().where(
        CONTACT.c.patient_id == ESCALATION.c.patient_id, CONTACT.c.channel == TRIAL
    )


def open_in_order(
    connection: Connection, sections: Sequence[Collection[str]], limit: int, offset: int
) -> list[int]:
    """Ids of open escalations in the order in which they need someone.

    Patients who are not real come last; then by section (each a set of topics; what fits nowhere
    is in the first when it is grave, else in one after the last); in it the gravest first, those
    nobody has taken before those taken; untaken ones by age, the oldest first, taken ones by the
    time left.
    """
    section = case(
        *((ESCALATION.c.topic.in_(topics), place) for place, topics in enumerate(sections)),
        (ESCALATION.c.severity.in_(GRAVE), 0),
        else_=len(sections),
    )
    taken = ESCALATION.c.standing.in_(_TAKEN)
    query = (
        select(ESCALATION.c.id)
        .where(ESCALATION.c.closed_at.is_(None))
        .order_by(
            is_trial(),
            section,
            case(_RANKS, value=ESCALATION.c.severity, else_=0),
            taken,
            case((taken, ESCALATION.c.deadline_at), else_=ESCALATION.c.opened_at),
            ESCALATION.c.id,
        )
    )
    return list(connection.execute(query.limit(limit).offset(offset)).scalars())


def open_counts(connection: Connection) -> list[Count]:
    """All open escalations, counted by what they have in common."""
    columns = (
        ESCALATION.c.topic,
        ESCALATION.c.severity,
        ESCALATION.c.standing.in_(_TAKEN).label("taken"),
        is_trial().label("trial"),
    )
    found = select(*columns).where(ESCALATION.c.closed_at.is_(None)).subquery()
    query = select(*found.c, func.count().label("number")).group_by(*found.c)
    return [
        Count(row.topic, row.severity, bool(row.taken), bool(row.trial), row.number)
        for row in connection.execute(query)
    ]


def cases_of(connection: Connection, ids: Sequence[int]) -> list[Case]:
    """These cases with their logs, in the order of `ids`; unknown ids are left out."""
    heads = {
        row.id: row
        for row in connection.execute(select(ESCALATION).where(ESCALATION.c.id.in_(ids)))
    }
    logs: dict[int, list[Any]] = {}
    events = (
        select(ESCALATION_EVENT)
        .where(ESCALATION_EVENT.c.escalation_id.in_(ids))
        .order_by(ESCALATION_EVENT.c.escalation_id, ESCALATION_EVENT.c.place)
    )
    for row in connection.execute(events):
        logs.setdefault(row.escalation_id, []).append(entry(row))
    return [
        Case(heads[one].patient_id, heads[one].topic, tuple(logs[one]), one)
        for one in ids
        if one in heads
    ]


def deadlines(connection: Connection, ids: Sequence[int]) -> Mapping[int, datetime | None]:
    """By when a person must act on each of these cases."""
    query = select(ESCALATION.c.id, ESCALATION.c.deadline_at).where(ESCALATION.c.id.in_(ids))
    return {row.id: row.deadline_at for row in connection.execute(query)}


def closed_since(connection: Connection, moment: datetime, limit: int) -> list[int]:
    """Ids of escalations closed from `moment` on, the last first."""
    query = (
        select(ESCALATION.c.id)
        .where(ESCALATION.c.closed_at >= moment)
        .order_by(ESCALATION.c.closed_at.desc(), ESCALATION.c.id.desc())
    )
    return list(connection.execute(query.limit(limit)).scalars())


def search(
    connection: Connection,
    wanted: Wanted,
    limit: int,
    *,
    before: int | None = None,
    after: int | None = None,
) -> Slice:
    """One part of the log, newest first: from `before` backwards or from `after` forwards.

    The place is an id, so it stays where it is while new escalations come in.
    """
    query = _wanted(select(ESCALATION.c.id), wanted)
    if after is not None:
        newer = query.where(ESCALATION.c.id > after).order_by(ESCALATION.c.id).limit(limit + 1)
        found = list(connection.execute(newer).scalars())
        ids = tuple(reversed(found[:limit]))
        return Slice(ids, ids[-1] if ids else None, ids[0] if len(found) > limit else None)
    if before is not None:
        query = query.where(ESCALATION.c.id < before)
    found = list(
        connection.execute(query.order_by(ESCALATION.c.id.desc()).limit(limit + 1)).scalars()
    )
    ids = tuple(found[:limit])
    older = ids[-1] if len(found) > limit else None
    return Slice(ids, older, ids[0] if ids and before is not None else None)


def count(connection: Connection, wanted: Wanted) -> int:
    """How many escalations the search finds in all."""
    found: int = connection.execute(
        _wanted(select(func.count(ESCALATION.c.id)), wanted)
    ).scalar_one()
    return found


def surgeons(connection: Connection) -> list[str]:
    """Every surgeon's name, for a list to choose from."""
    return list(connection.execute(select(SURGEON.c.name).order_by(SURGEON.c.name)).scalars())


def usual_zone(connection: Connection) -> str:
    """The zone of most surgeries; UTC while there is none."""
    query = select(SURGERY.c.zone).group_by(SURGERY.c.zone).order_by(func.count().desc())
    return connection.execute(query.limit(1)).scalar() or "UTC"


def _wanted(query: Select[Any], wanted: Wanted) -> Select[Any]:
    tests: list[ColumnElement[bool]] = []
    if wanted.since:
        tests.append(ESCALATION.c.opened_at >= wanted.since)
    if wanted.until:
        tests.append(ESCALATION.c.opened_at < wanted.until)
    if wanted.disposition:
        tests.append(ESCALATION.c.disposition == wanted.disposition)
    if wanted.state:
        tests.append(_state(wanted.state))
    if wanted.reason:
        event = ESCALATION_EVENT.c
        tests.append(
            exists().where(event.escalation_id == ESCALATION.c.id, event.reason == wanted.reason)
        )
    if wanted.surgeon:
        operated = (
            select(SURGERY.c.patient_id)
            .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
            .where(SURGEON.c.name == wanted.surgeon)
        )
        tests.append(ESCALATION.c.patient_id.in_(operated))
    return query.where(and_(*tests)) if tests else query


def _state(state: str) -> ColumnElement[bool]:
    is_open = ESCALATION.c.closed_at.is_(None)
    match state:
        case "closed":
            return ESCALATION.c.closed_at.isnot(None)
        case "open":
            return is_open
        case "untaken":
            return and_(is_open, ~ESCALATION.c.standing.in_(_TAKEN))
        case _:
            return and_(is_open, ESCALATION.c.standing == state)
