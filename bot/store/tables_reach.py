"""The tables of how a phone is tied to a patient, and of receipts that came too early."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant

__all__ = ["EARLY_RECEIPT", "ENROLMENT_CODE", "IDENTITY_CHECK", "METADATA"]


class EnrolmentCodeRow(SQLModel, table=True):
    """A code of a link by which a patient opens the chat. Only its hash is kept; used once."""

    __tablename__ = "enrolment_code"
    code_hash: str = Field(primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    made_at: datetime = instant()
    expires_at: datetime = instant()
    used_at: datetime | None = instant(optional=True)  # or taken back by a newer code


class IdentityCheckRow(SQLModel, table=True):
    """A phone that followed a patient's link and was asked for the year of birth."""

    __tablename__ = "identity_check"
    channel: str = Field(primary_key=True)
    address: str = Field(primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
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


ENROLMENT_CODE, IDENTITY_CHECK = core(EnrolmentCodeRow), core(IdentityCheckRow)
EARLY_RECEIPT = core(EarlyReceiptRow)
METADATA = SQLModel.metadata
