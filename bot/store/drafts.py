"""The draft of the content that is being worked on, and the log of who changed what in it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from bot.store.engine import insert_new
from bot.store.tables_content import CONTENT_DRAFT, CONTENT_EDIT

_OPEN = "open"


@dataclass(frozen=True, slots=True)
class Draft:
    """All files of a draft, and the revision of what was live when it was begun."""

    id: int
    base: str
    files: Mapping[str, str]
    started_at: datetime
    started_by: str


@dataclass(frozen=True, slots=True)
class Edit:
    """One thing done to a draft. `file` is "" where it was done to the whole."""

    draft: int
    at: datetime
    who: str
    what: str
    file: str


def begin(
    connection: Connection, base: str, files: Mapping[str, str], who: str, now: datetime
) -> int | None:
    """Open a draft; None when one is open already."""
    row = {"place": _OPEN, "base": base, "files": dict(files), "started_at": now}
    return insert_new(connection, CONTENT_DRAFT, {**row, "started_by": who})


def open_draft(connection: Connection, *, lock: bool = False) -> Draft | None:
    """The draft that is open; `lock` keeps other writers out until the transaction ends."""
    query = select(CONTENT_DRAFT).where(CONTENT_DRAFT.c.place == _OPEN)
    row = connection.execute(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        return None
    return Draft(row.id, row.base, dict(row.files), row.started_at, row.started_by)


def put(connection: Connection, draft: int, base: str, files: Mapping[str, str]) -> None:
    """Store other files in a draft."""
    values = {"base": base, "files": dict(files)}
    connection.execute(update(CONTENT_DRAFT).where(CONTENT_DRAFT.c.id == draft).values(values))


def end(connection: Connection, draft: int) -> None:
    """Make room for the next draft; this one stays in the log as it was."""
    connection.execute(update(CONTENT_DRAFT).where(CONTENT_DRAFT.c.id == draft).values(place=None))


def note(connection: Connection, edit: Edit, text: str = "") -> None:
    """Add a line to the log of drafts, with the text that the edit left."""
    row = {"draft_id": edit.draft, "at": edit.at, "who": edit.who, "what": edit.what}
    connection.execute(insert(CONTENT_EDIT).values({**row, "file": edit.file, "text": text}))


def edits(connection: Connection, limit: int) -> list[Edit]:
    """What was done to drafts, the newest first."""
    table = CONTENT_EDIT.c
    columns = (table.draft_id, table.at, table.who, table.what, table.file)
    query = select(*columns).order_by(table.id.desc()).limit(limit)
    return [Edit(*row) for row in connection.execute(query)]
