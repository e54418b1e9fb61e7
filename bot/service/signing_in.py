"""Signing in and out: the right password, slowly for those who guess, and sessions that end.

Nothing here says whether a name exists: an unknown name costs one hash and one failure like a
known one, and gets the same answer.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import BoundedSemaphore

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy import Connection, Engine

from bot.core.one_way import hashed
from bot.core.staff import Account, Session, same_name
from bot.service import second_factor
from bot.store import accounts, audit
from bot.store.engine import reading, writing

_TOUCH_EVERY = timedelta(seconds=30)  # a write for every click would be waste
_AT_ONCE = 2  # a hash takes 64 MiB: signing in must not be a way to fill the memory


class Passwords:
    """Hashes and compares with Argon2id: 64 MiB, 3 passes, 4 lanes (RFC 9106, second choice)."""

    def __init__(self, hasher: Argon2Hasher | None = None) -> None:
        self._hash = PasswordHash((hasher or Argon2Hasher(3, 64 * 1024, 4),))
        self._room = BoundedSemaphore(_AT_ONCE)
        self._nobody = self._hash.hash("compared with when the name is unknown")

    def hash(self, password: str) -> str:
        """The hash to store."""
        with self._room:
            return self._hash.hash(password)

    def fits(self, password: str, stored: str | None) -> tuple[bool, str | None]:
        """(whether it fits, a hash to store instead when the parameters have grown)."""
        with self._room:
            fits, newer = self._hash.verify_and_update(password, stored or self._nobody)
        return (fits, newer) if stored else (False, None)


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try to sign in."""

    name: str
    password: str
    address: str  # the network address that it came from
    code: str = ""  # of the second factor, where there is one


@dataclass(frozen=True, slots=True)
class TryAgain:
    """Refused. `after` is how long to wait; zero when name, password or code is wrong."""

    after: timedelta = timedelta(0)


def sign_in(
    engine: Engine, passwords: Passwords, attempt: Attempt, token: str, now: datetime
) -> Account | TryAgain:
    """Compare the password and start a session under `token`, a fresh secret.

    1. Refuse while an earlier failure still costs time; 2. count a failure in advance, so that
    tries made at once cannot slip past each other; 3. compare, and ask for the code where the
    account has a second factor; 4. on success forget the failures, store the session and write it
    down. Which of the three was wrong is not said.
    """
    with writing(engine) as connection:
        found = accounts.account_named(connection, attempt.name)
        whose = _counters(connection, attempt, found[0] if found else None)
        free = accounts.free_at(connection, whose)
        if free is not None and free > now:
            return TryAgain(free - now)
        for counter in whose:
            accounts.count_failure(connection, counter, now)
    fits, newer = passwords.fits(attempt.password, found[1] if found else None)
    if found is None or not fits or not _code_opens(engine, found[0], attempt.code, now):
        _note_failure(engine, found[0] if found else None, now)
        return TryAgain()
    with writing(engine) as connection:
        _welcome(connection, found[0], attempt, whose, hashed(token), now)
        if newer is not None:
            accounts.set_password(connection, found[0].id, newer)
    return found[0]


def _code_opens(engine: Engine, account: Account, code: str, now: datetime) -> bool:
    with writing(engine) as connection:
        return second_factor.opens(connection, account, code, now)


def _counters(connection: Connection, attempt: Attempt, account: Account | None) -> list[str]:
    """Whose failures count: the address's; and the account's, or, from an address where the
    account has signed in before, only this pair's, so that a stranger cannot lock a nurse out."""
    name = hashlib.sha256(same_name(attempt.name).encode()).hexdigest()[:32]
    by_address = f"address {attempt.address}"
    if account and accounts.is_known_address(connection, account.id, attempt.address):
        return [f"pair {name} {attempt.address}"]
    return [f"account {name}", by_address]


def _welcome(
    connection: Connection,
    account: Account,
    attempt: Attempt,
    whose: list[str],
    token_hash: str,
    now: datetime,
) -> None:
    accounts.forget_failures(connection, whose)
    accounts.start_session(connection, token_hash, account.id, attempt.address, now)
    audit.note(connection, account.name, "signed in", None, now, {"account": account.id})


def _note_failure(engine: Engine, account: Account | None, now: datetime) -> None:
    detail = {"account": account.id} if account else {}
    with writing(engine) as connection:
        audit.note(connection, "sign-in", "sign-in failed", None, now, detail)


def session(engine: Engine, token: str, now: datetime, *, touch: bool) -> Session | None:
    """The session of a browser, if it is not over; `touch` when a person did something."""
    with reading(engine) as connection:
        found = accounts.session_of(connection, hashed(token))
    if found is None or found.ends_at <= now:
        return None
    if touch and now - found.seen_at >= _TOUCH_EVERY:
        with writing(engine) as connection:
            accounts.touch_session(connection, hashed(token), now)
        return Session(found.account, found.began_at, now)
    return found


def sign_out(engine: Engine, token: str, now: datetime) -> None:
    """End one browser's session."""
    with writing(engine) as connection:
        accounts.end_session(connection, hashed(token), now)
