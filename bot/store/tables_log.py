"""The tables of what came in, what goes out, what a nurse must follow, who did what, and which
processes work on all this."""

from datetime import datetime
from typing import Any

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant, json_column
from bot.store.tables_reach import METADATA

__all__ = [
    "APPEND_ONLY", "AUDIT", "ESCALATION", "ESCALATION_EVENT", "INBOUND", "METADATA", "OUTBOUND",
    "READING", "WORKER",
]  # fmt: skip


class InboundRow(SQLModel, table=True):
    """One message as it came. The provider's id is unique, so a repeat takes effect once."""

    __tablename__ = "inbound"
    __table_args__ = (UniqueConstraint("channel", "provider_message_id"),)
    id: int | None = Field(default=None, primary_key=True)
    channel: str
    provider_message_id: str
    address: str
    patient_id: int | None = Field(default=None, foreign_key="patient.id", index=True)
    by_role: str = "unknown"
    text: str
    received_at: datetime = instant()
    handled_at: datetime = instant()


class ReadingRow(SQLModel, table=True):
    """How one message was understood, and the words that made it so."""

    __tablename__ = "reading"
    inbound_id: int = Field(primary_key=True, foreign_key="inbound.id")
    asked: str
    act: str
    also: Any = json_column()
    symptoms: Any = json_column()
    alert: bool
    because: Any = json_column()


class OutboundRow(SQLModel, table=True):
    """One message to send: the outbox. `key` is the business key, unique for ever."""

    __tablename__ = "outbound"
    __table_args__ = (
        Index("ix_outbound_state_next_try_at", "state", "next_try_at"),
        Index("ix_outbound_channel_address_state", "channel", "address", "state"),
    )
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    patient_id: int | None = Field(default=None, foreign_key="patient.id", index=True)
    escalation_id: int | None = Field(default=None, foreign_key="escalation.id", index=True)
    to_role: str
    name: str = ""  # of the recipient
    channel: str
    address: str
    text: str
    choices: Any = json_column()
    prompt_key: str | None = None
    queued_at: datetime = instant()
    not_after: datetime | None = instant(optional=True)  # stale from then on
    state: str = "queued"  # see store/outbox.py
    reason: str = ""
    attempts: int = 0
    next_try_at: datetime = instant()
    changed_at: datetime = instant()
    provider_id: str | None = Field(default=None, index=True)
    delivery: str = ""  # the provider's last receipt
    claimed_by: int | None = None  # the worker that tries or tried it last


class EscalationRow(SQLModel, table=True):
    """One case. Its life is in `escalation_event`; the columns here are found by queries."""

    __tablename__ = "escalation"
    __table_args__ = (
        Index(
            "uq_escalation_open",
            "patient_id",
            "topic",
            unique=True,
            sqlite_where=text("closed_at IS NULL"),
            postgresql_where=text("closed_at IS NULL"),
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    topic: str
    severity: str
    standing: str
    opened_at: datetime = instant()
    deadline_at: datetime | None = instant(optional=True, index=True)
    closed_at: datetime | None = instant(optional=True)
    disposition: str | None = None  # the last decision


class EscalationEventRow(SQLModel, table=True):
    """One entry in a case's log. Rows are only added: the database refuses anything else."""

    __tablename__ = "escalation_event"
    __table_args__ = (UniqueConstraint("escalation_id", "place"),)
    id: int | None = Field(default=None, primary_key=True)
    escalation_id: int = Field(foreign_key="escalation.id")
    place: int
    step: str
    at: datetime = instant()
    who: str
    note: str = ""
    words: str = ""
    reason: str = ""
    severity: str = ""
    detail: Any = json_column()


class AuditRow(SQLModel, table=True):
    """Who did what to which patient, when. Rows are only added."""

    __tablename__ = "audit"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = instant()
    who: str
    what: str
    patient_id: int | None = Field(default=None, foreign_key="patient.id", index=True)
    detail: Any = json_column()


class WorkerRow(SQLModel, table=True):
    """One process that works on this store."""

    __tablename__ = "worker"
    id: int | None = Field(default=None, primary_key=True)
    host: str
    process: int
    roles: str  # divided by commas
    started_at: datetime = instant()
    beat_at: datetime = instant()


INBOUND, READING, OUTBOUND = core(InboundRow), core(ReadingRow), core(OutboundRow)
ESCALATION, ESCALATION_EVENT = core(EscalationRow), core(EscalationEventRow)
AUDIT, WORKER = core(AuditRow), core(WorkerRow)
APPEND_ONLY = (ESCALATION_EVENT, AUDIT)
