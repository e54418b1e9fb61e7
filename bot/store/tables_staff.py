"""The tables of the people who sign in: accounts, sessions, failed tries, second factors."""

from datetime import datetime
from typing import Any

from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant, json_column
from bot.store.tables_log import METADATA

__all__ = [
    "ACCOUNT",
    "KNOWN_ADDRESS",
    "METADATA",
    "RECOVERY_CODE",
    "SECOND_FACTOR",
    "SIGN_IN_TRY",
    "WEB_SESSION",
]


class AccountRow(SQLModel, table=True):
    """A person who may sign in. `same_name` is how the name is compared."""

    __tablename__ = "account"
    id: int | None = Field(default=None, primary_key=True)
    name: str
    same_name: str = Field(unique=True)
    roles: Any = json_column()
    password: str  # Argon2id, with its parameters and salt
    created_at: datetime = instant()
    closed_at: datetime | None = instant(optional=True)


class WebSessionRow(SQLModel, table=True):
    """A signed-in browser. Only the hash of its secret is kept, so a stolen copy opens nothing."""

    __tablename__ = "web_session"
    token_hash: str = Field(primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    address: str
    began_at: datetime = instant()
    seen_at: datetime = instant()
    ended_at: datetime | None = instant(optional=True)


class SignInTryRow(SQLModel, table=True):
    """Failures since the last success, for one account, one address, or one pair of both."""

    __tablename__ = "sign_in_try"
    whose: str = Field(primary_key=True)
    failures: int
    free_at: datetime = instant()  # nothing is tried before


class KnownAddressRow(SQLModel, table=True):
    """An address from which an account has signed in: others' failures do not lock it out."""

    __tablename__ = "known_address"
    account_id: int = Field(primary_key=True, foreign_key="account.id")
    address: str = Field(primary_key=True)
    last_at: datetime = instant()


class SecondFactorRow(SQLModel, table=True):
    """An account's authenticator; it counts once a code was right, at `confirmed_at`."""

    __tablename__ = "second_factor"
    account_id: int = Field(primary_key=True, foreign_key="account.id")
    secret: str  # base 32; whoever can make codes must have it, so it cannot be a hash
    last_step: int  # of the last code that was taken: each opens once
    made_at: datetime = instant()
    confirmed_at: datetime | None = instant(optional=True)


class RecoveryCodeRow(SQLModel, table=True):
    """A code for when the phone is lost, as a hash; deleted when used."""

    __tablename__ = "recovery_code"
    account_id: int = Field(primary_key=True, foreign_key="account.id")
    code_hash: str = Field(primary_key=True)


ACCOUNT, WEB_SESSION = core(AccountRow), core(WebSessionRow)
SIGN_IN_TRY, KNOWN_ADDRESS = core(SignInTryRow), core(KnownAddressRow)
SECOND_FACTOR, RECOVERY_CODE = core(SecondFactorRow), core(RecoveryCodeRow)
