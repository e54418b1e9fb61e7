"""The tables about people, the operation, the countdown and the chat. See also `tables_log.py`.

Rows never leave `bot/store`: the modules beside this one read and write them with Core statements
and hand out the values of `bot/core`. Instants are UTC; dates and start times are the hospital's.
"""

from datetime import date, datetime, time
from typing import Any, cast

from sqlalchemy import JSON, Column, Index, Table, UniqueConstraint
from sqlmodel import Field, SQLModel

from bot.store.utc import Utc

Json = dict[str, Any]
NAMING = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
SQLModel.metadata.naming_convention = NAMING


def instant(*, optional: bool = False, index: bool = False) -> Any:  # noqa: ANN401
    """A column that holds an instant in UTC."""
    return Field(sa_column=Column(Utc, nullable=optional, index=index))


def json_column() -> Any:  # noqa: ANN401
    """A column that holds plain JSON."""
    return Field(sa_column=Column(JSON, nullable=False))


def core(model: type[SQLModel]) -> Table:
    """The Core table of a SQLModel class."""
    return cast(Table, model.__table__)  # type: ignore[attr-defined]


class SurgeonRow(SQLModel, table=True):
    """A surgeon's office."""

    __tablename__ = "surgeon"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)


class OnCallRow(SQLModel, table=True):
    """One contact on a surgeon's on-call list; `rank` 0 is told first."""

    __tablename__ = "on_call"
    __table_args__ = (UniqueConstraint("surgeon_id", "rank"),)
    id: int | None = Field(default=None, primary_key=True)
    surgeon_id: int = Field(foreign_key="surgeon.id")
    rank: int
    name: str
    channel: str
    address: str


class PatientRow(SQLModel, table=True):
    """A patient. `reference` is the hospital's own id, so that an import knows them again."""

    __tablename__ = "patient"
    id: int | None = Field(default=None, primary_key=True)
    reference: str = Field(unique=True)
    name: str
    born: date | None = None
    enrolled_at: datetime = instant()
    dawn_agreed: bool = False


class CoachRow(SQLModel, table=True):
    """A support person of one patient. Nothing goes to them before `joined_at` or after `left_at`.

    `level` is what the patient consented to; `joined_at` is the coach's own consent.
    """

    __tablename__ = "coach"
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    name: str
    level: str
    language: str = "en"
    joined_at: datetime | None = instant(optional=True)
    left_at: datetime | None = instant(optional=True)


class ContactRow(SQLModel, table=True):
    """An address, and whose it is: a patient's, or a coach's of that patient.

    `place` is 0 for the first person at an address; a further one has another place, which only
    staff give, so that two people never come to share a telephone by a slip.
    """

    __tablename__ = "contact"
    __table_args__ = (UniqueConstraint("channel", "address", "place"),)
    id: int | None = Field(default=None, primary_key=True)
    channel: str
    address: str
    patient_id: int = Field(foreign_key="patient.id", index=True)
    coach_id: int | None = Field(default=None, foreign_key="coach.id", index=True)
    stopped_at: datetime | None = instant(optional=True)
    wrong_at: datetime | None = instant(optional=True)
    place: int = 0


class ConsentRow(SQLModel, table=True):
    """What was agreed to: the words shown, in which language, when, on which address."""

    __tablename__ = "consent"
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    coach_id: int | None = Field(default=None, foreign_key="coach.id")
    scope: str
    given: bool
    wording: str
    language: str
    channel: str
    address: str
    at: datetime = instant()


class SurgeryRow(SQLModel, table=True):
    """The operation: a local date and, once known, a local start. `revision` counts changes."""

    __tablename__ = "surgery"
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", unique=True)
    surgeon_id: int = Field(foreign_key="surgeon.id", index=True)
    joint: str
    side: str
    on_date: date
    starts_at: time | None = None
    arrive_at: time | None = None
    zone: str
    status: str = "planned"  # "planned", "cancelled", "over"
    revision: int = 1
    nurse_due: datetime | None = instant(
        optional=True, index=True
    )  # the start must be known by then


class FactRow(SQLModel, table=True):
    """One fact about a patient, with who told it and when."""

    __tablename__ = "fact"
    __table_args__ = (UniqueConstraint("patient_id", "name"),)
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    name: str
    value: Any = json_column()
    source: str
    at: datetime = instant()


class MedicineHoldRow(SQLModel, table=True):
    """A medicine that a named prescriber told the patient to stop."""

    __tablename__ = "medicine_hold"
    __table_args__ = (UniqueConstraint("patient_id", "medicine"),)
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    medicine: str
    last_dose_on: date
    last_dose_at: time | None = None
    prescriber: str
    instruction: str = ""


class PlannedPromptRow(SQLModel, table=True):
    """One dated prompt. A re-planning writes a new generation; the old one is withdrawn."""

    __tablename__ = "planned_prompt"
    __table_args__ = (
        UniqueConstraint("surgery_id", "key", "generation"),
        Index("ix_planned_prompt_state_due", "state", "due"),
        Index("ix_planned_prompt_surgery_id_state_due", "surgery_id", "state", "due"),
    )
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    surgery_id: int = Field(foreign_key="surgery.id")
    key: str
    generation: int
    parts: Any = json_column()
    due: datetime = instant()
    closes: datetime = instant()
    to_role: str
    priority: str
    late: str
    time_critical: bool = False
    state: str = "planned"  # "planned", "sent", "cancelled", "missed", "skipped"
    reason: str = ""
    changed_at: datetime = instant()


class ItemRow(SQLModel, table=True):
    """One countdown item's status in one revision of the surgery: exactly one row each."""

    __tablename__ = "item"
    __table_args__ = (
        UniqueConstraint("patient_id", "name", "generation"),
        Index("ix_item_patient_id_generation_value", "patient_id", "generation", "value"),
    )
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    name: str
    generation: int
    value: str
    by: str
    at: datetime = instant()


class ConversationRow(SQLModel, table=True):
    """Where a patient's chat stands. `version` refuses a second writer; `wake_at` rings TimeUp."""

    __tablename__ = "conversation"
    patient_id: int = Field(primary_key=True, foreign_key="patient.id")
    body: str  # JSON, see core/conversation_json.py
    version: int = 0
    wake_at: datetime | None = instant(optional=True, index=True)


SURGEON, ON_CALL, PATIENT = core(SurgeonRow), core(OnCallRow), core(PatientRow)
COACH, CONTACT, CONSENT = core(CoachRow), core(ContactRow), core(ConsentRow)
SURGERY, FACT, HOLD = core(SurgeryRow), core(FactRow), core(MedicineHoldRow)
PROMPT, ITEM, CONVERSATION = core(PlannedPromptRow), core(ItemRow), core(ConversationRow)
