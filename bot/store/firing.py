"""Due prompts on their way out of the plan: read, claimed or put off."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, bindparam, select, update

from bot.core.planned import PlannedPrompt
from bot.store.many import ForMany
from bot.store.plans import planned
from bot.store.prepared import Prepared
from bot.store.tables import PROMPT

Claim = tuple[int, str, str]  # the prompt's id, what becomes of it, and why

_BY_ID = ForMany(PROMPT.c.id, lambda these: select(PROMPT).where(these))
_CLAIM = Prepared(
    update(PROMPT)
    .where(PROMPT.c.id == bindparam("prompt"), PROMPT.c.state == "planned")
    .values(
        state=bindparam("fate"), reason=bindparam("reason_why"), changed_at=bindparam("changed")
    )
)
_PUT_OFF = Prepared(
    update(PROMPT)
    .where(PROMPT.c.id == bindparam("prompt"))
    .values(due=bindparam("until"), reason=bindparam("reason_why"))
)


class SettledMeanwhile(RuntimeError):
    """Somebody moved a prompt out of the plan without locking its patient."""


def prompts_by_id(connection: Connection, prompts: Sequence[int]) -> dict[int, PlannedPrompt]:
    """These prompts, by id."""
    return {row.id: planned(row) for row in _BY_ID.rows(connection, prompts)}


def claim_all(connection: Connection, claims: Sequence[Claim], now: datetime) -> None:
    """Move prompts of locked patients out of "planned"; SettledMeanwhile if one is not there."""
    fates = [
        {"prompt": prompt, "fate": state, "reason_why": reason, "changed": now}
        for prompt, state, reason in claims
    ]
    if fates and _CLAIM.run_each(connection, fates) != len(fates):
        raise SettledMeanwhile("A due prompt was settled while its patient was locked.")


def put_off(connection: Connection, prompt: int, until: datetime, reason: str) -> None:
    """Move a prompt that cannot be handled now forward, so that it cannot stop the others."""
    _PUT_OFF.run(connection, {"prompt": prompt, "until": until, "reason_why": reason})
