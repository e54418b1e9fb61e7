"""The whole clinic in a few statements: who is there, and what their countdowns say."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Text, cast, func, or_, select

from bot.core.date_questions import Known
from bot.core.protocol import Surgery
from bot.core.readiness import Asking
from bot.core.record import ItemStatus
from bot.store.tables import CONTACT, CONVERSATION, ITEM, PATIENT, PROMPT, SURGEON, SURGERY
from bot.store.tables_log import ESCALATION
from bot.store.worklist import TRIAL


@dataclass(frozen=True, slots=True)
class Search:
    """Whom to list, and in which order ("date", "name", "surgeon", "done")."""

    today: date
    words: str = ""
    surgeon: str = ""
    joint: str = ""
    when: str = "coming"  # "week", "coming", "past", "stopped", "all"
    sort: str = "date"


@dataclass(frozen=True, slots=True)
class Head:
    """One patient as a list names them."""

    id: int
    reference: str
    name: str
    surgeon: str
    surgery: Surgery
    status: str
    revision: int
    paused: bool = False
    open_cases: int = 0
    trial: bool = False


def listed(connection: Connection, search: Search) -> list[int]:
    """The ids of everybody who fits, in order; ids only, so that a page can be cut out of it."""
    query = (
        select(PATIENT.c.id)
        .join(SURGERY, SURGERY.c.patient_id == PATIENT.c.id)
        .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
        .where(*_tests(search))
    )
    soon = SURGERY.c.on_date.desc() if search.when == "past" else SURGERY.c.on_date
    if search.sort == "done":
        done = (  # of the patients listed only, and answered from one index
            select(func.count())
            .where(
                ITEM.c.patient_id == PATIENT.c.id,
                ITEM.c.generation == SURGERY.c.revision,
                ITEM.c.value.in_(("done", "not_needed")),
            )
            .scalar_subquery()
        )
        query = query.order_by(done, soon)
    else:
        first = {"name": PATIENT.c.name, "surgeon": SURGEON.c.name}.get(search.sort)
        query = query.order_by(soon) if first is None else query.order_by(first, soon)
    return list(connection.execute(query.order_by(PATIENT.c.id)).scalars())


def _tests(search: Search) -> list[ColumnElement[bool]]:
    tests: list[ColumnElement[bool]] = []
    on, planned = SURGERY.c.on_date, SURGERY.c.status == "planned"
    match search.when:
        case "week":
            tests += [planned, on >= search.today, on <= date.fromordinal(_week(search.today))]
        case "coming":
            tests += [planned, on >= search.today]
        case "past":
            tests += [on < search.today]
        case "stopped":
            tests += [~planned]
    if search.surgeon:
        tests.append(SURGEON.c.name == search.surgeon)
    if search.joint:
        tests.append(SURGERY.c.joint == search.joint)
    tests += [_has_word(word) for word in search.words.split()]
    return tests


def _week(today: date) -> int:
    return today.toordinal() + 7


def _has_word(word: str) -> ColumnElement[bool]:
    """Part of the name or reference, or a telephone number of the patient or their coach."""
    tests = [PATIENT.c.name.icontains(word, autoescape=True)]
    tests.append(PATIENT.c.reference.icontains(word, autoescape=True))
    digits = "".join(sign for sign in word if sign.isdigit())
    if len(digits) >= 4:
        owner = select(CONTACT.c.patient_id).where(CONTACT.c.address.contains(digits))
        tests.append(PATIENT.c.id.in_(owner))
    return or_(*tests)


def heads(connection: Connection, ids: Sequence[int]) -> list[Head]:
    """These patients, in the order of `ids`."""
    query = (
        select(PATIENT.c.id, PATIENT.c.reference, PATIENT.c.name, SURGEON.c.name.label("surgeon"))
        .add_columns(*(c for c in SURGERY.c if c.name not in ("id", "patient_id", "surgeon_id")))
        .add_columns(CONVERSATION.c.body)
        .join(SURGERY, SURGERY.c.patient_id == PATIENT.c.id)
        .join(SURGEON, SURGEON.c.id == SURGERY.c.surgeon_id)
        .outerjoin(CONVERSATION, CONVERSATION.c.patient_id == PATIENT.c.id)
        .where(PATIENT.c.id.in_(ids))
    )
    cases, trials = _open_cases(connection, ids), _trials(connection, ids)
    found = {row.id: _head(row, cases, trials) for row in connection.execute(query)}
    return [found[one] for one in ids if one in found]


def _head(row: Row[Any], cases: dict[int, int], trials: set[int]) -> Head:
    surgery = Surgery(row.joint, row.side, row.on_date, row.zone, row.starts_at, row.arrive_at)
    return Head(
        row.id, row.reference, row.name, row.surgeon, surgery, row.status, row.revision,
        paused='"paused": true' in (row.body or "") or '"paused":true' in (row.body or ""),
        open_cases=cases.get(row.id, 0), trial=row.id in trials,
    )  # fmt: skip


def _open_cases(connection: Connection, ids: Sequence[int]) -> dict[int, int]:
    query = (
        select(ESCALATION.c.patient_id, func.count().label("number"))
        .where(ESCALATION.c.patient_id.in_(ids), ESCALATION.c.closed_at.is_(None))
        .group_by(ESCALATION.c.patient_id)
    )
    return {row.patient_id: row.number for row in connection.execute(query)}


def _trials(connection: Connection, ids: Sequence[int]) -> set[int]:
    query = select(CONTACT.c.patient_id).where(
        CONTACT.c.patient_id.in_(ids), CONTACT.c.channel == TRIAL
    )
    return set(connection.execute(query).scalars())


def asked(connection: Connection, ids: Sequence[int]) -> dict[int, list[Asking]]:
    """What these patients were and will be asked, as far as it is about an item."""
    query = select(
        PROMPT.c.patient_id,
        cast(PROMPT.c.parts, Text).label("parts"),
        PROMPT.c.state,
        PROMPT.c.due,
        PROMPT.c.closes,
    ).where(PROMPT.c.patient_id.in_(ids), PROMPT.c.to_role != "coach")
    found: dict[int, list[Asking]] = {one: [] for one in ids}
    for row in connection.execute(query):
        found[row.patient_id] += [
            Asking(item, row.state, row.due, row.closes) for item in _items(row.parts)
        ]
    return found


@lru_cache(maxsize=4096)
def _items(parts: str) -> tuple[str, ...]:
    """The items in a stored prompt; patients have mostly the same, so few are decoded twice."""
    return tuple(part["item"] for part in json.loads(parts) if part.get("item"))


def recorded(connection: Connection, ids: Sequence[int]) -> dict[int, dict[str, ItemStatus]]:
    """What is recorded about the items of these patients' present surgeries."""
    query = (
        select(ITEM.c.patient_id, ITEM.c.name, ITEM.c.value, ITEM.c.by, ITEM.c.at)
        .join(SURGERY, SURGERY.c.patient_id == ITEM.c.patient_id)
        .where(ITEM.c.patient_id.in_(ids), ITEM.c.generation == SURGERY.c.revision)
    )
    found: dict[int, dict[str, ItemStatus]] = {one: {} for one in ids}
    for row in connection.execute(query):
        found[row.patient_id][row.name] = ItemStatus(row.name, row.value, row.by, row.at)
    return found


def perhaps_same(
    connection: Connection, name: str, born: date | None, reference: str
) -> list[Known]:
    """Operations on record of a person with this name and date of birth, under another id."""
    query = (
        select(PATIENT.c.id, PATIENT.c.reference, PATIENT.c.name, SURGERY)
        .join(SURGERY, SURGERY.c.patient_id == PATIENT.c.id)
        .where(
            func.lower(PATIENT.c.name) == " ".join(name.split()).lower(),
            PATIENT.c.born == born,
            PATIENT.c.reference != reference,
        )
    )
    return [
        Known(
            row.id,
            row.reference,
            row.name,
            Surgery(row.joint, row.side, row.on_date, row.zone, row.starts_at, row.arrive_at),
        )
        for row in connection.execute(query)
    ]
