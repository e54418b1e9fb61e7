"""Second factors: an account's authenticator, and its recovery codes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, func, insert, select, update

from bot.store.engine import insert_row
from bot.store.tables_staff import RECOVERY_CODE, SECOND_FACTOR


@dataclass(frozen=True, slots=True)
class SecondFactor:
    """An account's authenticator. `confirmed`: a code of it was right once, so it counts."""

    secret: str
    last_step: int
    confirmed: bool


def factor_of(connection: Connection, account: int) -> SecondFactor | None:
    """What an account has set up, or None."""
    query = select(SECOND_FACTOR).where(SECOND_FACTOR.c.account_id == account)
    row = connection.execute(query).one_or_none()
    return SecondFactor(row.secret, row.last_step, row.confirmed_at is not None) if row else None


def put_factor(connection: Connection, account: int, secret: str, now: datetime) -> None:
    """Store a secret that does not count yet, in the place of whatever there was."""
    remove_factor(connection, account)
    values = {"account_id": account, "secret": secret, "last_step": 0, "made_at": now}
    insert_row(connection, SECOND_FACTOR, {**values, "confirmed_at": None})


def confirm_factor(
    connection: Connection, account: int, recovery_hashes: Iterable[str], now: datetime
) -> None:
    """From now on it counts, and these codes stand in for it."""
    own = update(SECOND_FACTOR).where(SECOND_FACTOR.c.account_id == account)
    connection.execute(own.values(confirmed_at=now))
    rows = [{"account_id": account, "code_hash": each} for each in recovery_hashes]
    connection.execute(insert(RECOVERY_CODE), rows)


def take_step(connection: Connection, account: int, step: int) -> bool:
    """Remember the step of a code; False when it, or a later one, was taken meanwhile."""
    later = SECOND_FACTOR.c.last_step < step
    own = update(SECOND_FACTOR).where(SECOND_FACTOR.c.account_id == account, later)
    return connection.execute(own.values(last_step=step)).rowcount == 1


def take_recovery_code(connection: Connection, account: int, code_hash: str) -> bool:
    """Use a recovery code up; False when there is no such code."""
    own = delete(RECOVERY_CODE).where(
        RECOVERY_CODE.c.account_id == account, RECOVERY_CODE.c.code_hash == code_hash
    )
    return connection.execute(own).rowcount == 1


def recovery_codes_left(connection: Connection, account: int) -> int:
    """How many were not used."""
    query = select(func.count()).where(RECOVERY_CODE.c.account_id == account)
    return int(connection.execute(query).scalar_one())


def remove_factor(connection: Connection, account: int) -> None:
    """The password alone opens the account again."""
    for table in (RECOVERY_CODE, SECOND_FACTOR):
        connection.execute(delete(table).where(table.c.account_id == account))
