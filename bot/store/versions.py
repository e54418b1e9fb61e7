"""Stored versions of the content, and the log of what went live when, by whom and why."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select

from bot.store.engine import insert_new
from bot.store.prepared import Prepared
from bot.store.tables import CONVERSATION
from bot.store.tables_content import CONTENT_PUBLICATION, CONTENT_VERSION

BATCH = 1_000
_LIVE = Prepared(select(CONTENT_PUBLICATION).order_by(CONTENT_PUBLICATION.c.id.desc()).limit(1))


@dataclass(frozen=True, slots=True)
class Publication:
    """One version going live."""

    id: int
    revision: str
    at: datetime
    who: str
    note: str


def keep(connection: Connection, revision: str, files: Mapping[str, str], now: datetime) -> None:
    """Store a version, once, however many processes store it at the same moment."""
    row = {"revision": revision, "files": dict(files), "stored_at": now}
    insert_new(connection, CONTENT_VERSION, row)


def files_of(connection: Connection, revision: str) -> dict[str, str]:
    """The files of a stored version. Raises LookupError for one that was never stored."""
    query = select(CONTENT_VERSION.c.files).where(CONTENT_VERSION.c.revision == revision)
    files = connection.execute(query).scalar_one_or_none()
    if files is None:
        raise LookupError(f"No version {revision} is stored. `countdown versions` lists them.")
    return dict(files)


def stored(connection: Connection) -> list[str]:
    """The revisions of all stored versions, the newest first."""
    query = select(CONTENT_VERSION.c.revision).order_by(CONTENT_VERSION.c.stored_at.desc())
    return list(connection.execute(query).scalars())


def add_publication(
    connection: Connection, revision: str, who: str, note: str, now: datetime
) -> None:
    """Let a stored version go live."""
    row = {"revision": revision, "at": now, "who": who, "note": note}
    connection.execute(insert(CONTENT_PUBLICATION).values(row))


def publications(connection: Connection) -> list[Publication]:
    """Everything that ever went live, the newest first."""
    query = select(CONTENT_PUBLICATION).order_by(CONTENT_PUBLICATION.c.id.desc())
    return [Publication(*row) for row in connection.execute(query)]


def live(connection: Connection) -> Publication | None:
    """What patients get now; None while nothing was published: the content that ships."""
    row = _LIVE.first(connection, {})
    return None if row is None else Publication(*row)


def chats(connection: Connection) -> Iterator[str]:
    """Every stored conversation, as JSON: to see which versions are still under way.

    Never all of them in memory at once: there is one for every patient that there ever was.
    """
    query = select(CONVERSATION.c.body).execution_options(yield_per=BATCH)
    yield from connection.execute(query).scalars()
