"""The dated countdown: planned prompts and what was recorded about each item."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, select, update

from bot.core.planned import NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Late, Priority
from bot.core.record import ItemStatus, Operation
from bot.store.engine import insert_rows, upsert
from bot.store.prepared import Prepared
from bot.store.tables import ITEM, PROMPT

_ITEMS = Prepared(
    select(ITEM.c.name, ITEM.c.value, ITEM.c.by, ITEM.c.at)
    .where(ITEM.c.patient_id == bindparam("patient"), ITEM.c.generation == bindparam("revision"))
    .order_by(ITEM.c.at, ITEM.c.id)
)


_PRIORITY = {str(one): one for one in Priority}
_LATE = {str(one): one for one in Late}
_OF_SURGERY = PROMPT.c.surgery_id == bindparam("surgery")
_STATES = Prepared(
    select(PROMPT.c.key, PROMPT.c.state).where(
        _OF_SURGERY, PROMPT.c.generation == bindparam("revision")
    )
)
_SENT = Prepared(
    select(PROMPT.c.to_role, PROMPT.c.changed_at).where(_OF_SURGERY, PROMPT.c.state == "sent")
)
_KEPT = Prepared(
    select(PROMPT.c.key, PROMPT.c.parts, PROMPT.c.due, PROMPT.c.closes, PROMPT.c.to_role)
    .add_columns(PROMPT.c.priority, PROMPT.c.late, PROMPT.c.time_critical, PROMPT.c.state)
    .where(_OF_SURGERY, PROMPT.c.state != "cancelled")
    .order_by(PROMPT.c.due, PROMPT.c.id)
)
_WAITING = Prepared(
    select(PROMPT)
    .where(_OF_SURGERY, PROMPT.c.state == "planned")
    .order_by(PROMPT.c.due, PROMPT.c.id)
)
_COMING = Prepared(
    select(PROMPT.c.parts, PROMPT.c.due)
    .where(_OF_SURGERY, PROMPT.c.state == "planned", PROMPT.c.to_role == "patient")
    .order_by(PROMPT.c.due, PROMPT.c.id)
    .limit(bindparam("most"))
)
_WITHDRAW = update(PROMPT).where(
    _OF_SURGERY, PROMPT.c.state == "planned", PROMPT.c.key.in_(bindparam("keys", expanding=True))
)
_RETIMED = ("parts", "due", "closes", "to_role", "priority", "late", "time_critical", "changed_at")
_RETIME = Prepared(
    update(PROMPT)
    .where(_OF_SURGERY, PROMPT.c.key == bindparam("which"), PROMPT.c.state == "planned")
    .values({name: bindparam(f"new_{name}") for name in _RETIMED})
)


def put_prompts(
    connection: Connection, operation: Operation, prompts: Iterable[PlannedPrompt], now: datetime
) -> None:
    """Add prompts in the operation's present generation.

    A withdrawn prompt of the same key comes back; one that is planned or settled stays as it is.
    """
    rows = [_columns(operation, prompt, now) for prompt in prompts]
    known = _states(connection, operation) if rows else {}
    fresh = [row for row in rows if row["key"] not in known]
    insert_rows(connection, PROMPT, fresh)
    for row in rows:
        if known.get(row["key"]) == "cancelled":
            upsert(connection, PROMPT, row, ("surgery_id", "key", "generation"))


def _states(connection: Connection, operation: Operation) -> dict[str, str]:
    which = {"surgery": operation.id, "revision": operation.revision}
    return {row.key: row.state for row in _STATES.rows(connection, which)}


def retime_prompts(
    connection: Connection, operation: Operation, prompts: Iterable[PlannedPrompt], now: datetime
) -> None:
    """Give planned prompts their new time, parts or window."""
    rows = [_columns(operation, prompt, now) for prompt in prompts]
    if rows:
        _RETIME.run_each(connection, [_retimed(operation, row) for row in rows])


def _retimed(operation: Operation, row: dict[str, Any]) -> dict[str, Any]:
    which = {"surgery": operation.id, "which": row["key"]}
    return {**which, **{f"new_{name}": row[name] for name in _RETIMED}}


def sent_of(connection: Connection, operation: Operation) -> list[tuple[str, datetime]]:
    """(recipient, instant) of every prompt of this countdown that went out."""
    rows = _SENT.rows(connection, {"surgery": operation.id})
    return [(row.to_role, row.changed_at) for row in rows]


def _columns(operation: Operation, prompt: PlannedPrompt, now: datetime) -> dict[str, Any]:
    return {
        "patient_id": operation.patient,
        "surgery_id": operation.id,
        "key": prompt.key,
        "generation": operation.revision,
        "parts": [_part_json(part) for part in prompt.parts],
        "due": prompt.due,
        "closes": prompt.closes,
        "to_role": prompt.to,
        "priority": str(prompt.priority),
        "late": str(prompt.late),
        "time_critical": prompt.time_critical,
        "state": "planned",
        "reason": "",
        "changed_at": now,
    }


def _part_json(part: Part) -> dict[str, Any]:
    return {
        "prompt": part.prompt,
        "flow": part.flow,
        "values": dict(part.values),
        "key": part.key,
        "item": part.item,
        "catch_up": part.catch_up,
    }


def prompts_of(connection: Connection, operation: Operation) -> tuple[PlannedPrompt, ...]:
    """The operation's prompts to come, in every generation, in order of time."""
    return tuple(planned(row) for row in _WAITING.rows(connection, {"surgery": operation.id}))


def kept_prompts(
    connection: Connection, operation: Operation
) -> tuple[list[PlannedPrompt], list[PlannedPrompt]]:
    """(to come, settled) of the operation's prompts in every generation, in order of time."""
    to_come: list[PlannedPrompt] = []
    settled: list[PlannedPrompt] = []
    for row in _KEPT.rows(connection, {"surgery": operation.id}):
        (to_come if row.state == "planned" else settled).append(planned(row))
    return to_come, settled


def coming_parts(
    connection: Connection, operation: Operation, most: int
) -> list[tuple[Part, datetime]]:
    """The parts of the patient's next `most` prompts with their times, in order."""
    rows = _COMING.rows(connection, {"surgery": operation.id, "most": most})
    return [(Part(**part), row.due) for row in rows for part in row.parts]


def planned(row: Any) -> PlannedPrompt:  # noqa: ANN401 - a row
    """A row of planned_prompt as the core's value."""
    return PlannedPrompt(
        key=row.key,
        parts=tuple(Part(**part) for part in row.parts),
        due=row.due,
        closes=row.closes,
        to=row.to_role,
        priority=_PRIORITY[row.priority],
        late=_LATE[row.late],
        time_critical=row.time_critical,
    )


def withdraw_prompts(
    connection: Connection, operation: Operation, keys: Sequence[str], reason: str, now: datetime
) -> None:
    """Withdraw planned prompts that have not gone out."""
    if not keys:
        return
    changes = {"state": "cancelled", "reason": reason, "changed_at": now}
    connection.execute(_WITHDRAW, {"surgery": operation.id, "keys": list(keys), **changes})


def note_missed(
    connection: Connection, operation: Operation, lost: NotPlanned, now: datetime
) -> None:
    """Keep a prompt that can no longer be of use, for the nurse's list."""
    was_due = lost.was_due or now
    key = lost.key or lost.prompt
    part = Part(lost.prompt, lost.flow, lost.values, key)
    prompt = PlannedPrompt(key, (part,), was_due, was_due, "nurse", Priority.TEACHING)
    row = {**_columns(operation, prompt, now), "state": "missed", "reason": lost.reason}
    upsert(connection, PROMPT, row, ("surgery_id", "key", "generation"))


def missed_of(connection: Connection, operation: Operation) -> list[NotPlanned]:
    """What could not be asked or said in time, with the reason; for the nurse."""
    query = (
        select(PROMPT)
        .where(PROMPT.c.surgery_id == operation.id, PROMPT.c.state == "missed")
        .order_by(PROMPT.c.due, PROMPT.c.id)
    )
    return [
        NotPlanned(part.prompt, part.flow, row.reason, row.due, part.values, part.key)
        for row in connection.execute(query)
        for part in planned(row).parts
    ]


def record_item(
    connection: Connection, operation: Operation, name: str, value: str, by: str, now: datetime
) -> None:
    """Store one item's status in the present revision: one row each, the last word counts."""
    values = {
        "patient_id": operation.patient,
        "name": name,
        "generation": operation.revision,
        "value": value,
        "by": by,
        "at": now,
    }
    upsert(connection, ITEM, values, ("patient_id", "name", "generation"))


def items_of(connection: Connection, operation: Operation) -> dict[str, ItemStatus]:
    """What is recorded in the operation's present revision."""
    whose = {"patient": operation.patient, "revision": operation.revision}
    return {
        row.name: ItemStatus(row.name, row.value, row.by, row.at)
        for row in _ITEMS.rows(connection, whose)
    }
