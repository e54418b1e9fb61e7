"""Accounts, their sessions, and the failures that slow guessing down."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, delete, exists, select, update

from bot.core.staff import Account, Role, Session, same_name, wait_after
from bot.store.engine import insert_new, upsert
from bot.store.tables_staff import ACCOUNT, KNOWN_ADDRESS, SIGN_IN_TRY, WEB_SESSION


def add_account(
    connection: Connection, name: str, roles: Iterable[Role], password: str, now: datetime
) -> int | None:
    """Add a person with the hash of their password; None when the name is taken."""
    values = {
        "name": " ".join(name.split()),
        "same_name": same_name(name),
        "roles": sorted(str(role) for role in roles),
        "password": password,
        "created_at": now,
    }
    return insert_new(connection, ACCOUNT, values)


def account_named(connection: Connection, name: str) -> tuple[Account, str] | None:
    """The account that may sign in under a name, with its password's hash."""
    query = select(ACCOUNT).where(
        ACCOUNT.c.same_name == same_name(name), ACCOUNT.c.closed_at.is_(None)
    )
    row = connection.execute(query).one_or_none()
    return (_account(row), row.password) if row else None


def accounts(connection: Connection) -> list[Account]:
    """Everybody who may sign in, by name."""
    query = select(ACCOUNT).where(ACCOUNT.c.closed_at.is_(None)).order_by(ACCOUNT.c.same_name)
    return [_account(row) for row in connection.execute(query)]


def set_password(connection: Connection, account: int, password: str) -> None:
    """Store another hash."""
    connection.execute(update(ACCOUNT).where(ACCOUNT.c.id == account).values(password=password))


def set_roles(connection: Connection, account: int, roles: Iterable[Role]) -> None:
    """Store other roles. The caller ends the account's sessions."""
    told = sorted(str(role) for role in roles)
    connection.execute(update(ACCOUNT).where(ACCOUNT.c.id == account).values(roles=told))


def close_account(connection: Connection, account: int, now: datetime) -> None:
    """Nobody signs in to it any more; what they did stays in the logs."""
    connection.execute(update(ACCOUNT).where(ACCOUNT.c.id == account).values(closed_at=now))


def start_session(
    connection: Connection, token_hash: str, account: int, address: str, now: datetime
) -> None:
    """Store a session, and drop those that ended long ago."""
    stale = WEB_SESSION.c.ended_at.isnot(None) & (WEB_SESSION.c.account_id == account)
    connection.execute(delete(WEB_SESSION).where(stale))
    values = {
        "token_hash": token_hash,
        "account_id": account,
        "address": address,
        "began_at": now,
        "seen_at": now,
    }
    insert_new(connection, WEB_SESSION, values)
    known = {"account_id": account, "address": address, "last_at": now}
    upsert(connection, KNOWN_ADDRESS, known, ("account_id", "address"))


def session_of(connection: Connection, token_hash: str) -> Session | None:
    """The session that was not ended, whether or not its time is over."""
    query = (
        select(WEB_SESSION.c.began_at, WEB_SESSION.c.seen_at, ACCOUNT)
        .join(ACCOUNT, ACCOUNT.c.id == WEB_SESSION.c.account_id)
        .where(
            WEB_SESSION.c.token_hash == token_hash,
            WEB_SESSION.c.ended_at.is_(None),
            ACCOUNT.c.closed_at.is_(None),
        )
    )
    row = connection.execute(query).one_or_none()
    return Session(_account(row), row.began_at, row.seen_at) if row else None


def touch_session(connection: Connection, token_hash: str, now: datetime) -> None:
    """The person did something."""
    connection.execute(
        update(WEB_SESSION).where(WEB_SESSION.c.token_hash == token_hash).values(seen_at=now)
    )


def end_session(connection: Connection, token_hash: str, now: datetime) -> None:
    """Sign one browser out."""
    connection.execute(
        update(WEB_SESSION).where(WEB_SESSION.c.token_hash == token_hash).values(ended_at=now)
    )


def end_sessions_of(connection: Connection, account: int, now: datetime) -> None:
    """Sign an account out everywhere: its password or roles changed."""
    open_ones = (WEB_SESSION.c.account_id == account) & WEB_SESSION.c.ended_at.is_(None)
    connection.execute(update(WEB_SESSION).where(open_ones).values(ended_at=now))


def is_known_address(connection: Connection, account: int, address: str) -> bool:
    """Whether the account has signed in from this address before."""
    query = select(
        exists().where(KNOWN_ADDRESS.c.account_id == account, KNOWN_ADDRESS.c.address == address)
    )
    return bool(connection.execute(query).scalar())


def free_at(connection: Connection, whose: Iterable[str]) -> datetime | None:
    """The latest moment before which one of these may not try; None when none ever failed."""
    query = select(SIGN_IN_TRY.c.free_at).where(SIGN_IN_TRY.c.whose.in_(list(whose)))
    return max(connection.execute(query).scalars(), default=None)


def count_failure(connection: Connection, whose: str, now: datetime) -> None:
    """Count one failure, and store until when the next try has to wait."""
    query = select(SIGN_IN_TRY.c.failures).where(SIGN_IN_TRY.c.whose == whose)
    failures = (connection.execute(query.with_for_update()).scalar() or 0) + 1
    values = {"whose": whose, "failures": failures, "free_at": now + wait_after(failures)}
    upsert(connection, SIGN_IN_TRY, values, ("whose",))


def forget_failures(connection: Connection, whose: Iterable[str]) -> None:
    """A success: the next failure is the first again."""
    connection.execute(delete(SIGN_IN_TRY).where(SIGN_IN_TRY.c.whose.in_(list(whose))))


def _account(row: Row[Any]) -> Account:
    return Account(row.id, row.name, frozenset(Role(role) for role in row.roles))
