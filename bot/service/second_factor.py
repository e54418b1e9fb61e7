"""Setting up a code from one's own phone, asking for it at sign-in, and taking it away again."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Engine

from bot.core.second_factor import recovery_codes, recovery_hash, secret_of, step_of
from bot.core.staff import Account
from bot.store import accounts, audit, second_factors
from bot.store.engine import reading, writing


class CodeRefused(ValueError):
    """The code is not right, or came too soon after wrong ones; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How it stands with one account. `secret` only while it waits to be confirmed."""

    on: bool
    secret: str = ""
    codes_left: int = 0


def standing(engine: Engine, account: Account) -> Standing:
    """What the account's own page shows."""
    with reading(engine) as connection:
        found = second_factors.factor_of(connection, account.id)
        if found is None:
            return Standing(on=False)
        if not found.confirmed:
            return Standing(on=False, secret=found.secret)
        left = second_factors.recovery_codes_left(connection, account.id)
        return Standing(on=True, codes_left=left)


def begin(engine: Engine, account: Account, chance: str, now: datetime) -> None:
    """Make a secret; it counts once a code of it was right. One that counts stays as it is."""
    with writing(engine) as connection:
        found = second_factors.factor_of(connection, account.id)
        if found is None or not found.confirmed:
            second_factors.put_factor(connection, account.id, secret_of(chance), now)


def confirm(
    engine: Engine, account: Account, code: str, chance: str, now: datetime
) -> tuple[str, ...]:
    """Let it count from now on; return the recovery codes, which are shown this once."""
    _count_try(engine, account, now)
    codes = recovery_codes(chance)
    hashes = [each for code in codes if (each := recovery_hash(code)) is not None]
    with writing(engine) as connection:
        found = second_factors.factor_of(connection, account.id)
        if found is None or found.confirmed or not _fits(connection, account, code, now):
            raise CodeRefused("That code is not right. Wait for the next one and type that.")
        second_factors.confirm_factor(connection, account.id, hashes, now)
        _done(connection, account, account.name, "second factor set up", now)
    return codes


def remove(engine: Engine, account: Account, code: str, now: datetime) -> None:
    """Take it away, for whoever has a code of it or a recovery code. Raises CodeRefused."""
    _count_try(engine, account, now)
    with writing(engine) as connection:
        if not _fits(connection, account, code, now):
            raise CodeRefused("That code is not right. Type the present one, or a recovery code.")
        second_factors.remove_factor(connection, account.id)
        _done(connection, account, account.name, "second factor taken away", now)


def forget(engine: Engine, account: Account, now: datetime) -> bool:
    """Take it away without a code, from the command line; False when there was none."""
    with writing(engine) as connection:
        found = second_factors.factor_of(connection, account.id)
        second_factors.remove_factor(connection, account.id)
        accounts.end_sessions_of(connection, account.id, now)
        _done(connection, account, "command line", "second factor taken away", now)
    return found is not None


def opens(connection: Connection, account: Account, code: str, now: datetime) -> bool:
    """Whether the code lets the person in; it need be none where no second factor counts."""
    found = second_factors.factor_of(connection, account.id)
    return found is None or not found.confirmed or _fits(connection, account, code, now)


def _fits(connection: Connection, account: Account, code: str, now: datetime) -> bool:
    """A code of the authenticator, or a recovery code; either is used up by it."""
    found = second_factors.factor_of(connection, account.id)
    if found is None:
        return False
    step = step_of(found.secret, code, now, found.last_step)
    if step is not None:
        return second_factors.take_step(connection, account.id, step)
    kept = recovery_hash(code)
    if kept is None or not second_factors.take_recovery_code(connection, account.id, kept):
        return False
    _note(connection, account, account.name, "recovery code used", now)
    return True


def _count_try(engine: Engine, account: Account, now: datetime) -> None:
    """Count a wrong code in advance, so that tries made at once cannot slip past each other."""
    with writing(engine) as connection:
        free = accounts.free_at(connection, [_whose(account)])
        if free is not None and free > now:
            seconds = int((free - now).total_seconds()) + 1
            raise CodeRefused(f"Too many wrong codes. Wait {seconds} seconds, then try again.")
        accounts.count_failure(connection, _whose(account), now)


def _done(connection: Connection, account: Account, who: str, what: str, now: datetime) -> None:
    accounts.forget_failures(connection, [_whose(account)])
    _note(connection, account, who, what, now)


def _note(connection: Connection, account: Account, who: str, what: str, now: datetime) -> None:
    audit.note(connection, who, what, None, now, {"account": account.id})


def _whose(account: Account) -> str:
    return f"code {account.id}"
