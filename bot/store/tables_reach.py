"""The tables of how a phone is tied to its people, and of receipts that came too early."""

from datetime import datetime
from typing import Any

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant, json_column

__all__ = ["EARLY_RECEIPT", "ENROLMENT_CODE", "IDENTITY_CHECK", "KEPT_TEXT", "METADATA"]


class EnrolmentCodeRow(SQLModel, table=True):
    """A code of a link by which a patient, or a coach, opens the chat.

    Only its hash is kept; used once.
    """

    __tablename__ = "enrolment_code"
    code_hash: str = Field(primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    coach_id: int | None = Field(default=None, foreign_key="coach.id")
    made_at: datetime = instant()
    expires_at: datetime = instant()
    used_at: datetime | None = instant(optional=True)  # or taken back by a newer code


class IdentityCheckRow(SQLModel, table=True):
    """A phone that followed a link and was asked for the patient's year of birth."""

    __tablename__ = "identity_check"
    channel: str = Field(primary_key=True)
    address: str = Field(primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    coach_id: int | None = Field(default=None, foreign_key="coach.id")
    tries: int = 0  # answers that were not the year
    state: str  # "asking", "passed", "refused"
    changed_at: datetime = instant()


class EarlyReceiptRow(SQLModel, table=True):
    """A provider's report on a message whose provider id is not stored yet."""

    __tablename__ = "early_receipt"
    channel: str = Field(primary_key=True)
    provider_id: str = Field(primary_key=True)
    state: str
    reason: str = ""
    received_at: datetime = instant()


class KeptTextRow(SQLModel, table=True):
    """A text from a shared phone that waits to be told whom it is about.

    `people` are those whom the question named, in its order: [patient, coach or null].
    """

    __tablename__ = "kept_text"
    __table_args__ = (Index("ix_kept_text_closed_at_expires_at", "closed_at", "expires_at"),)
    inbound_id: int = Field(primary_key=True, foreign_key="inbound.id")
    channel: str
    address: str
    text: str
    alarm: bool  # each patient has an escalation of it already
    people: Any = json_column()
    kept_at: datetime = instant()
    expires_at: datetime = instant()
    closed_at: datetime | None = instant(optional=True)


ENROLMENT_CODE, IDENTITY_CHECK = core(EnrolmentCodeRow), core(IdentityCheckRow)
EARLY_RECEIPT, KEPT_TEXT = core(EarlyReceiptRow), core(KeptTextRow)
METADATA = SQLModel.metadata
