"""Codes of links, the check of who opened one, and the address that its owner will have."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, select, update

from bot.core.identity import Check, Standing
from bot.store.engine import insert_new, upsert
from bot.store.prepared import Prepared
from bot.store.tables import CONTACT
from bot.store.tables_log import OUTBOUND
from bot.store.tables_reach import ENROLMENT_CODE, IDENTITY_CHECK

WAITING = "code:"  # begins the address of a person who has not opened the link


@dataclass(frozen=True, slots=True)
class LinkOwner:
    """For whom a link opens the chat: a patient, or the coach of one."""

    patient: int
    coach: int | None = None

    @property
    def waiting_address(self) -> str:
        """What stands for the address until the link is opened."""
        ending = "" if self.coach is None else f".coach.{self.coach}"
        return f"{WAITING}{self.patient}{ending}"


_CHECK = Prepared(
    select(IDENTITY_CHECK).where(
        IDENTITY_CHECK.c.channel == bindparam("channel"),
        IDENTITY_CHECK.c.address == bindparam("address"),
    )
)


def is_waiting(address: str) -> bool:
    """True of an address that is not known yet: messages to it are held."""
    return address.startswith(WAITING)


def put_code(
    connection: Connection, code_hash: str, owner: LinkOwner, now: datetime, expires_at: datetime
) -> None:
    """Keep a new code; the owner's earlier ones that were not used are taken back."""
    take_back(connection, owner, now)
    values = {
        "code_hash": code_hash,
        "patient_id": owner.patient,
        "coach_id": owner.coach,
        "made_at": now,
        "expires_at": expires_at,
    }
    insert_new(connection, ENROLMENT_CODE, values)


def take_back(connection: Connection, owner: LinkOwner, now: datetime) -> None:
    """No link of the owner's that was not used yet opens anything from now on."""
    connection.execute(
        update(ENROLMENT_CODE)
        .where(
            ENROLMENT_CODE.c.patient_id == owner.patient,
            ENROLMENT_CODE.c.coach_id.is_not_distinct_from(owner.coach),
            ENROLMENT_CODE.c.used_at.is_(None),
        )
        .values(used_at=now)
    )


def owner_of_code(connection: Connection, code_hash: str, now: datetime) -> LinkOwner | None:
    """For whom a code opens the chat; None if unknown, used or too old."""
    row = connection.execute(
        select(ENROLMENT_CODE.c.patient_id, ENROLMENT_CODE.c.coach_id).where(
            ENROLMENT_CODE.c.code_hash == code_hash,
            ENROLMENT_CODE.c.used_at.is_(None),
            ENROLMENT_CODE.c.expires_at > now,
        )
    ).first()
    return LinkOwner(row.patient_id, row.coach_id) if row else None


def use_code(connection: Connection, code_hash: str, now: datetime) -> bool:
    """Use a code up; False when another message did so first."""
    used = connection.execute(
        update(ENROLMENT_CODE)
        .where(ENROLMENT_CODE.c.code_hash == code_hash, ENROLMENT_CODE.c.used_at.is_(None))
        .values(used_at=now)
    )
    return used.rowcount == 1


def check_of(connection: Connection, channel: str, address: str) -> tuple[LinkOwner, Check] | None:
    """Whose link this phone opened, and how far its check has come."""
    row = _CHECK.first(connection, {"channel": channel, "address": address})
    if row is None:
        return None
    return LinkOwner(row.patient_id, row.coach_id), Check(Standing(row.state), row.tries)


def put_check(
    connection: Connection,
    channel: str,
    address: str,
    owner: LinkOwner,
    check: Check,
    now: datetime,
) -> None:
    """Store how far the check of a phone has come."""
    values = {
        "channel": channel,
        "address": address,
        "patient_id": owner.patient,
        "coach_id": owner.coach,
        "tries": check.tries,
        "state": check.standing,
        "changed_at": now,
    }
    upsert(connection, IDENTITY_CHECK, values, ("channel", "address"))


def open_address(connection: Connection, owner: LinkOwner, channel: str, address: str) -> bool:
    """The phone is the owner's: it takes the place of the address that was waited for.

    A patient may have another phone already; then this one comes first. A coach has one: False when
    it is known already, and nothing is changed.
    """
    waited = (CONTACT.c.channel == channel) & (CONTACT.c.address == owner.waiting_address)
    moved = connection.execute(update(CONTACT).where(waited).values(address=address))
    if moved.rowcount == 0 and owner.coach is None:
        values = {"channel": channel, "address": address, "patient_id": owner.patient}
        insert_new(connection, CONTACT, values)
    return moved.rowcount > 0 or owner.coach is None


def release_held(
    connection: Connection, owner: LinkOwner, channel: str, address: str, now: datetime
) -> int:
    """Let go what was held for the owner, to the phone now known; return how many go out.

    Of several questions only the newest goes: the others asked the same, or were given up.
    """
    held = connection.execute(
        select(OUTBOUND.c.id, OUTBOUND.c.choices, OUTBOUND.c.not_after)
        .where(
            OUTBOUND.c.channel == channel,
            OUTBOUND.c.address == owner.waiting_address,
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


def readdress_held(connection: Connection, owner: LinkOwner, channel: str, address: str) -> None:
    """What was held for the owner stays held, but for the phone now known."""
    connection.execute(
        update(OUTBOUND)
        .where(
            OUTBOUND.c.channel == channel,
            OUTBOUND.c.address == owner.waiting_address,
            OUTBOUND.c.state == "held",
        )
        .values(address=address)
    )


def _set(connection: Connection, ids: list[int], values: dict[str, object], now: datetime) -> None:
    if ids:
        changed = update(OUTBOUND).where(OUTBOUND.c.id.in_(ids))
        connection.execute(changed.values(**values, changed_at=now))
