"""Codes of links, the check of who opened one, and the address that a patient will have."""

from datetime import datetime

from sqlalchemy import Connection, bindparam, select, update

from bot.core.identity import Check, Standing
from bot.store.engine import insert_new, upsert
from bot.store.prepared import Prepared
from bot.store.tables import CONTACT
from bot.store.tables_log import OUTBOUND
from bot.store.tables_reach import ENROLMENT_CODE, IDENTITY_CHECK

WAITING = "code:"  # begins the address of a patient who has not opened the link
_CHECK = Prepared(
    select(IDENTITY_CHECK).where(
        IDENTITY_CHECK.c.channel == bindparam("channel"),
        IDENTITY_CHECK.c.address == bindparam("address"),
    )
)


def waiting_address(patient: int) -> str:
    """What stands for the address of a patient who has not opened the link."""
    return f"{WAITING}{patient}"


def is_waiting(address: str) -> bool:
    """True of an address that is not known yet: messages to it are held."""
    return address.startswith(WAITING)


def put_code(
    connection: Connection, code_hash: str, patient: int, now: datetime, expires_at: datetime
) -> None:
    """Keep a new code; the patient's earlier ones that were not used are taken back."""
    connection.execute(
        update(ENROLMENT_CODE)
        .where(ENROLMENT_CODE.c.patient_id == patient, ENROLMENT_CODE.c.used_at.is_(None))
        .values(used_at=now)
    )
    values = {
        "code_hash": code_hash,
        "patient_id": patient,
        "made_at": now,
        "expires_at": expires_at,
    }
    insert_new(connection, ENROLMENT_CODE, values)


def owner_of_code(connection: Connection, code_hash: str, now: datetime) -> int | None:
    """The patient whom a code opens the chat for; None if unknown, used or too old."""
    owner: int | None = connection.execute(
        select(ENROLMENT_CODE.c.patient_id).where(
            ENROLMENT_CODE.c.code_hash == code_hash,
            ENROLMENT_CODE.c.used_at.is_(None),
            ENROLMENT_CODE.c.expires_at > now,
        )
    ).scalar()
    return owner


def use_code(connection: Connection, code_hash: str, now: datetime) -> bool:
    """Use a code up; False when another message did so first."""
    used = connection.execute(
        update(ENROLMENT_CODE)
        .where(ENROLMENT_CODE.c.code_hash == code_hash, ENROLMENT_CODE.c.used_at.is_(None))
        .values(used_at=now)
    )
    return used.rowcount == 1


def check_of(connection: Connection, channel: str, address: str) -> tuple[int, Check] | None:
    """The patient whose link this phone opened, and how far its check has come."""
    row = _CHECK.first(connection, {"channel": channel, "address": address})
    return (row.patient_id, Check(Standing(row.state), row.tries)) if row else None


def put_check(
    connection: Connection, channel: str, address: str, patient: int, check: Check, now: datetime
) -> None:
    """Store how far the check of a phone has come."""
    values = {
        "channel": channel,
        "address": address,
        "patient_id": patient,
        "tries": check.tries,
        "state": check.standing,
        "changed_at": now,
    }
    upsert(connection, IDENTITY_CHECK, values, ("channel", "address"))


def open_address(connection: Connection, patient: int, channel: str, address: str) -> None:
    """The phone is the patient's: it takes the place of the address that was waited for."""
    waited = (CONTACT.c.channel == channel) & (CONTACT.c.address == waiting_address(patient))
    moved = connection.execute(update(CONTACT).where(waited).values(address=address))
    if moved.rowcount == 0:  # they are on another channel until now: this one comes first
        insert_new(
            connection, CONTACT, {"channel": channel, "address": address, "patient_id": patient}
        )


def release_held(
    connection: Connection, patient: int, channel: str, address: str, now: datetime
) -> int:
    """Let go what was held for the patient, to the phone now known; return how many go out.

    Of several questions only the newest goes: the others asked the same, or were given up.
    """
    held = connection.execute(
        select(OUTBOUND.c.id, OUTBOUND.c.choices, OUTBOUND.c.not_after)
        .where(
            OUTBOUND.c.channel == channel,
            OUTBOUND.c.address == waiting_address(patient),
            OUTBOUND.c.state == "held",
        )
        .order_by(OUTBOUND.c.id)
    ).all()
    questions = [row.id for row in held if row.choices]
    going = [
        row.id
        for row in held
        if (row.not_after is None or row.not_after > now)
        and (not row.choices or row.id == questions[-1])
    ]
    _set(connection, going, {"address": address, "state": "queued", "next_try_at": now}, now)
    rest = [row.id for row in held if row.id not in going]
    reason = "the chat was opened later"
    _set(connection, rest, {"address": address, "state": "withdrawn", "reason": reason}, now)
    return len(going)


def _set(connection: Connection, ids: list[int], values: dict[str, object], now: datetime) -> None:
    if ids:
        changed = update(OUTBOUND).where(OUTBOUND.c.id.in_(ids))
        connection.execute(changed.values(**values, changed_at=now))
