"""The tables of the content: every version that was ever stored, and which one went live when."""

from datetime import datetime
from typing import Any

from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant, json_column
from bot.store.tables_staff import METADATA

__all__ = ["CONTENT_PUBLICATION", "CONTENT_VERSION", "METADATA"]


class ContentVersionRow(SQLModel, table=True):
    """One version of all the content files, by the hash of their text."""

    __tablename__ = "content_version"
    revision: str = Field(primary_key=True)
    files: Any = json_column()  # path -> text
    stored_at: datetime = instant()


class ContentPublicationRow(SQLModel, table=True):
    """One going live. The newest row is what patients get; rows are only ever added."""

    __tablename__ = "content_publication"
    id: int | None = Field(default=None, primary_key=True)
    revision: str = Field(foreign_key="content_version.revision", index=True)
    at: datetime = instant()
    who: str
    note: str


CONTENT_VERSION = core(ContentVersionRow)
CONTENT_PUBLICATION = core(ContentPublicationRow)
