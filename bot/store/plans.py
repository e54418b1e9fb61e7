"""The dated countdown: planned prompts, and what became of each."""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Text, bindparam, case, cast, select, update

from bot.core.planned import NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Late, Priority
from bot.core.record import Operation
from bot.core.replan import StoredPrompt
from bot.core.same import Same
from bot.store.engine import upsert, upsert_rows
from bot.store.prepared import Prepared
from bot.store.tables import PROMPT

_PRIORITY = {str(one): one for one in Priority}
_LATE = {str(one): one for one in Late}
_UNIQUE = ("surgery_id", "key", "generation")
_WITHDRAWN = Same(PROMPT.c.state == "cancelled")
_OF_SURGERY = PROMPT.c.surgery_id == bindparam("surgery")
_SENT = Prepared(
    select(PROMPT.c.to_role, PROMPT.c.changed_at).where(_OF_SURGERY, PROMPT.c.state == "sent")
)
_KEPT = Prepared(
    select(PROMPT.c.key, PROMPT.c.due, PROMPT.c.closes, PROMPT.c.to_role, PROMPT.c.priority)
    .add_columns(PROMPT.c.late, PROMPT.c.time_critical, PROMPT.c.state)
    .add_columns(
        cast(PROMPT.c.parts, Text).label("parts"),
        case((PROMPT.c.state == "sent", PROMPT.c.changed_at)).label("sent_at"),
    )
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
_WITHDRAW = Prepared(
    update(PROMPT)
    .where(_OF_SURGERY, PROMPT.c.key == bindparam("which"), PROMPT.c.state == "planned")
    .values(state="cancelled", reason=bindparam("reason_why"), changed_at=bindparam("changed"))
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
    upsert_rows(connection, PROMPT, rows, _UNIQUE, _WITHDRAWN)


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


def kept_prompts(connection: Connection, operation: Operation) -> list[StoredPrompt]:
    """The operation's prompts in every generation, the withdrawn left out, in order of time."""
    rows = _KEPT.rows(connection, {"surgery": operation.id})
    return [
        StoredPrompt(
            prompt=_prompt(row, _parts(row.parts)),
            settled=row.state != "planned",
            sent_at=row.sent_at,
        )
        for row in rows
    ]


@lru_cache(maxsize=4096)  # a line of the protocol says the same in many countdowns
def _parts(text: str) -> tuple[Part, ...]:
    return tuple(Part(**part) for part in json.loads(text))


def coming_parts(
    connection: Connection, operation: Operation, most: int
) -> list[tuple[Part, datetime]]:
    """The parts of the patient's next `most` prompts with their times, in order."""
    rows = _COMING.rows(connection, {"surgery": operation.id, "most": most})
    return [(Part(**part), row.due) for row in rows for part in row.parts]


def planned(row: Any) -> PlannedPrompt:  # noqa: ANN401 - a row
    """A row of planned_prompt as the core's value."""
    return _prompt(row, tuple(Part(**part) for part in row.parts))


def _prompt(row: Any, parts: tuple[Part, ...]) -> PlannedPrompt:  # noqa: ANN401 - a row
    return PlannedPrompt(
        key=row.key,
        parts=parts,
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
    told = {"surgery": operation.id, "reason_why": reason, "changed": now}
    if keys:
        _WITHDRAW.run_each(connection, [{**told, "which": key} for key in keys])


def note_missed(
    connection: Connection, operation: Operation, lost: NotPlanned, now: datetime
) -> None:
    """Keep a prompt that can no longer be of use, for the nurse's list."""
    was_due = lost.was_due or now
    key = lost.key or lost.prompt
    part = Part(lost.prompt, lost.flow, lost.values, key)
    prompt = PlannedPrompt(key, (part,), was_due, was_due, "nurse", Priority.TEACHING)
    row = {**_columns(operation, prompt, now), "state": "missed", "reason": lost.reason}
    upsert(connection, PROMPT, row, _UNIQUE)


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
