"""The tables of the content: every version that was ever stored, which one went live when, and the
drafts on the page with who changed what in them."""

from datetime import datetime
from typing import Any

from sqlmodel import Field, SQLModel

from bot.store.tables import core, instant, json_column
from bot.store.tables_staff import METADATA

__all__ = ["CONTENT_DRAFT", "CONTENT_EDIT", "CONTENT_PUBLICATION", "CONTENT_VERSION", "METADATA"]


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


class ContentDraftRow(SQLModel, table=True):
    """One draft. `place` is taken while it is open, so that there is never a second one."""

    __tablename__ = "content_draft"
    id: int | None = Field(default=None, primary_key=True)
    place: str | None = Field(default=None, unique=True)
    base: str = Field(foreign_key="content_version.revision", index=True)
    files: Any = json_column()  # path -> text, all of them
    started_at: datetime = instant()
    started_by: str


class ContentEditRow(SQLModel, table=True):
    """One thing done to a draft: who, what, when, and the text that it left. Only added to."""

    __tablename__ = "content_edit"
    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="content_draft.id", index=True)
    at: datetime = instant()
    who: str
    what: str
    file: str = ""
    text: str = ""


CONTENT_VERSION = core(ContentVersionRow)
CONTENT_PUBLICATION = core(ContentPublicationRow)
CONTENT_DRAFT = core(ContentDraftRow)
CONTENT_EDIT = core(ContentEditRow)
