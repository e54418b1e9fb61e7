"""The record as values: what the store hands out and the services work with."""

from collections.abc import Mapping
from dataclasses import field
from datetime import date, datetime

from bot.core.copies import CopyLevel
from bot.core.protocol import Surgery
from bot.core.value import value


@value
class Party:
    """Who is behind an address: a patient, or the coach of one."""

    patient: int
    channel: str
    address: str
    coach: int | None = None
    stopped: bool = False  # opted out on this address, or it is a wrong number

    @property
    def role(self) -> str:
        """ "patient" or "coach"."""
        return "patient" if self.coach is None else "coach"


@value
class PatientRecord:
    """A patient as enrolled."""

    id: int
    reference: str
    name: str
    born: date | None
    enrolled_at: datetime
    dawn_agreed: bool

    @property
    def first_name(self) -> str:
        """The name to greet with."""
        return self.name.split()[0]


@value
class CoachRecord:
    """A coach, with the consent that governs what they get."""

    id: int
    patient: int
    name: str
    level: CopyLevel
    language: str
    joined_at: datetime | None
    left_at: datetime | None
    channel: str
    address: str
    stopped: bool = False
    waiting: bool = False  # has not opened the chat by the link yet

    @property
    def active(self) -> bool:
        """True while messages may go to them: joined by their own reply, not left, not stopped."""
        return self.joined_at is not None and self.left_at is None and not self.stopped


@value
class Operation:
    """A patient's surgery in the record."""

    id: int
    patient: int
    surgeon: str
    surgery: Surgery
    status: str  # "planned", "cancelled", "over"
    revision: int
    nurse_due: datetime | None = None


@value
class OnCall:
    """One contact who is told of escalations."""

    name: str
    channel: str
    address: str


@value
class ItemStatus:
    """One countdown item: what was recorded, by whom, when."""

    name: str
    value: str
    by: str
    at: datetime


@value
class Message:
    """One message out, as the outbox knows it."""

    key: str
    patient: int | None
    to_role: str
    name: str
    channel: str
    address: str
    text: str
    choices: tuple[str, ...]
    queued_at: datetime
    prompt_key: str | None = None
    escalation: int | None = None
    not_after: datetime | None = None
    state: str = "queued"
    reason: str = ""
    attempts: int = 0
    changed_at: datetime | None = None
    provider_id: str | None = None
    id: int = 0
    claimed_by: int | None = None  # the worker that tries or tried it last


@value
class ThreadLine:
    """One line of a thread, either way."""

    at: datetime
    who: str  # "coach bot", "patient", "coach", "nurse"
    to: str
    text: str
    choices: tuple[str, ...] = ()
    state: str = ""
    detail: Mapping[str, str] = field(default_factory=dict)
