"""The people who sign in: their roles, how long a session lasts, how slowly guesses are answered.

Times and lengths follow OWASP ASVS 5.0, chapters 6 and 7, with our own figures where it leaves the
choice to the application and asks only that the choice be written down.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum


class Role(StrEnum):
    """What an account may do. An account may hold several."""

    NURSE = "nurse"  # follows escalations to their end
    EDUCATOR = "educator"  # enrols, prepares, reads the worklist
    ADMINISTRATOR = "administrator"  # accounts, the log and its export, the program report


# ASVS 7.3.1 and 7.3.2 ask for both limits. Fifteen minutes: a ward PC is shared, and the page is
# opened between patients. Twelve hours: the longest shift.
IDLE = timedelta(minutes=15)
ABSOLUTE = timedelta(hours=12)
FREE_TRIES = 4  # failures that cost nothing: a name mistyped, caps lock on
LONGEST_WAIT = timedelta(seconds=900)


@dataclass(frozen=True, slots=True)
class Account:
    """One person who may sign in."""

    id: int
    name: str
    roles: frozenset[Role]


@dataclass(frozen=True, slots=True)
class Session:
    """One signed-in browser, as the server knows it."""

    account: Account
    began_at: datetime
    seen_at: datetime

    @property
    def ends_at(self) -> datetime:
        """When it ends unless the person does something first."""
        return min(self.seen_at + IDLE, self.began_at + ABSOLUTE)

    @property
    def can_extend(self) -> bool:
        """False once the absolute limit is what ends it."""
        return self.seen_at + IDLE < self.began_at + ABSOLUTE


def wait_after(failures: int) -> timedelta:
    """Say how long to refuse after so many failures: from the fifth 2, 4, 8 ... up to 900 s."""
    if failures <= FREE_TRIES:
        return timedelta(0)
    return min(timedelta(seconds=2 ** min(failures - FREE_TRIES, 10)), LONGEST_WAIT)


def same_name(name: str) -> str:
    """The form in which account names are compared: one person, one name, however it is typed."""
    return " ".join(name.split()).casefold()
