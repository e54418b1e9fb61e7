"""Making an account, and changing its password or its roles: what is done from the command line."""

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Engine

from bot.core.passwords import password_fault
from bot.core.staff import Account, Role
from bot.service.signing_in import Passwords
from bot.store import accounts, audit
from bot.store.engine import writing

_NEEDS = "An account needs a person's name and at least one role."


class AccountFault(ValueError):
    """The account cannot be made so; the message says why."""


def add_account(
    engine: Engine,
    passwords: Passwords,
    name: str,
    roles: Iterable[Role],
    password: str,
    now: datetime,
    hospital: str = "",
) -> int:
    """Make an account. Raises AccountFault for a taken name, no role, or a weak password.

    `hospital` is its name, which no password may consist of.
    """
    wanted = frozenset(roles)
    fault = password_fault(password, name, hospital)
    if not name.strip() or not wanted:
        raise AccountFault(_NEEDS)
    if fault:
        raise AccountFault(f"That password will not do. {fault}")
    stored = passwords.hash(password)
    with writing(engine) as connection:
        made = accounts.add_account(connection, name, wanted, stored, now)
        if made is None:
            raise AccountFault(f"There is an account named '{name}' already. Take another name.")
        detail = {"account": made, "roles": sorted(wanted)}
        audit.note(connection, "command line", "account made", None, now, detail)
    return made


def change_password(
    engine: Engine,
    passwords: Passwords,
    account: Account,
    password: str,
    now: datetime,
    hospital: str = "",
) -> None:
    """Store another password and sign the account out everywhere. Raises AccountFault."""
    fault = password_fault(password, account.name, hospital)
    if fault:
        raise AccountFault(f"That password will not do. {fault}")
    stored = passwords.hash(password)
    with writing(engine) as connection:
        accounts.set_password(connection, account.id, stored)
        accounts.end_sessions_of(connection, account.id, now)
        detail = {"account": account.id}
        audit.note(connection, "command line", "password changed", None, now, detail)


def change_roles(engine: Engine, account: Account, roles: Iterable[Role], now: datetime) -> None:
    """Give an account these roles instead of its own, and sign it out everywhere.

    Raises AccountFault for no role.
    """
    wanted = frozenset(roles)
    if not wanted:
        raise AccountFault(_NEEDS)
    with writing(engine) as connection:
        accounts.set_roles(connection, account.id, wanted)
        accounts.end_sessions_of(connection, account.id, now)
        detail = {"account": account.id, "roles": sorted(wanted), "before": sorted(account.roles)}
        audit.note(connection, "command line", "roles changed", None, now, detail)
