"""Publishing content: check it, store it, let it go live, go back; who did it, when, and why.

A conversation under way ends on the version it began with (bot/core/versions.py); everything that
begins later speaks the live one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache

from sqlalchemy import Connection, Engine

from bot.content.check import faults_in
from bot.content.faults import ContentFaults, Fault
from bot.content.load import compiled, shelf
from bot.content.snapshot import Snapshot, changed_files, laid_out
from bot.core.conversation import TimeUp
from bot.core.conversation_json import conversation_from_json
from bot.core.flow import Flow, FlowBook
from bot.core.versions import begun_with, lacks
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.turns import take_turn
from bot.store import audit, patients, versions
from bot.store.engine import reading, writing
from bot.store.versions import Publication

SHIPPED = "installation"


class PublishFault(ValueError):
    """Nothing was published; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Published:
    """What went live, and the files that differ from what was live before."""

    publication: Publication
    changed: tuple[str, ...]


def publish(
    engine: Engine, new: Snapshot, shipped: Snapshot, who: str, note: str, now: datetime
) -> Published:
    """Check the content and let it go live.

    1. Refuse what has a fault (ContentFaults), no name or no reason, or is live already; 2. store
    the shipped content first if nothing was ever published, so that there is a way back; 3. store
    the new version; 4. add it to the log of publications.
    """
    if not who.strip() or not note.strip():
        raise PublishFault("Say who publishes and why: --by and --note.")
    if faults := faults_of(new, now.date()):
        raise ContentFaults(faults)
    with writing(engine) as connection:
        before = versions.live(connection)
        if before is None:
            _go_live(connection, shipped, SHIPPED, "the content that ships", now)
            before = versions.live(connection)
        if before is not None and before.revision == new.revision:
            raise PublishFault(f"Version {new.revision} is live already. Nothing was changed.")
        _go_live(connection, new, who, note, now)
        return _outcome(connection, before, new)


def faults_of(content: Snapshot, today: date) -> tuple[Fault, ...]:
    """Everything for which this content is not fit to go live."""
    return _judged(tuple(sorted(content.files.items())), today)


@lru_cache(maxsize=4)  # the page of a draft asks for each look at it, and publishing once more
def _judged(files: tuple[tuple[str, str], ...], today: date) -> tuple[Fault, ...]:
    with laid_out(dict(files)) as folder:
        return faults_in(folder, today)


def go_back(engine: Engine, who: str, note: str, now: datetime) -> Published:
    """Let the version that was live before go live again; the log keeps both steps."""
    if not who.strip():
        raise PublishFault("Say who goes back: --by.")
    with writing(engine) as connection:
        log = versions.publications(connection)
        earlier = next((p for p in log if p.revision != log[0].revision), None)
        if earlier is None:
            raise PublishFault("There is no version before this one.")
        old = Snapshot(earlier.revision, versions.files_of(connection, earlier.revision))
        _go_live(connection, old, who, note or f"back to version {old.revision}", now)
        return _outcome(connection, log[0], old)


def history(engine: Engine) -> list[Publication]:
    """Everything that went live, the newest first."""
    with reading(engine) as connection:
        return versions.publications(connection)


def live_files(engine: Engine) -> tuple[Publication, Snapshot] | None:
    """The published content that is live; None while the shipped content is."""
    with reading(engine) as connection:
        live = versions.live(connection)
        if live is None:
            return None
        return live, Snapshot(live.revision, versions.files_of(connection, live.revision))


def live_id(engine: Engine) -> int | None:
    """Which publication is live, to notice that another process published."""
    with reading(engine) as connection:
        live = versions.live(connection)
    return None if live is None else live.id


def keep_for_later(engine: Engine, shipped: Snapshot, now: datetime) -> None:
    """Store the shipped content, so that chats begun on it can end on it after an upgrade."""
    with writing(engine) as connection:
        versions.keep(connection, shipped.revision, shipped.files, now)


def retired_flows(engine: Engine, book: FlowBook) -> dict[tuple[str, str], Flow]:
    """The flows under way that the live book lacks, from the versions stored before."""
    with reading(engine) as connection:
        bodies = versions.chats(connection)
        pairs = {p for body in bodies for p in begun_with(conversation_from_json(body))}
        wanted = {pair for pair in pairs if lacks(book, *pair)}
        found = _live_before(connection, book)
        for revision in versions.stored(connection) if wanted else ():
            for flow in _flows_of(connection, revision):
                pair = (flow.name, flow.revision)
                if pair in wanted or (flow.name, "") in wanted:
                    found.setdefault(pair, flow)
            if wanted <= {*found, *((name, "") for name, _ in found)}:
                break
    return found


def _live_before(connection: Connection, book: FlowBook) -> dict[tuple[str, str], Flow]:
    """All that the version before had otherwise: another process may still open it for a moment."""
    log = versions.publications(connection)
    earlier = next((p.revision for p in log if p.revision != log[0].revision), None)
    flows = _flows_of(connection, earlier) if earlier is not None else ()
    return {(f.name, f.revision): f for f in flows if lacks(book, f.name, f.revision)}


def plan_everyone_anew(practice: Practice, now: datetime) -> int:
    """Bring every countdown up to the content that is live now; return for how many patients."""
    with reading(practice.engine) as connection:
        everyone = patients.all_patients(connection)
    for patient in everyone:
        with writing(practice.engine) as connection:
            patients.lock(connection, patient)
            desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
            take_turn(desk, TimeUp(), plan_anew=True)
    return len(everyone)


def _flows_of(connection: Connection, revision: str) -> Iterator[Flow]:
    """The flows of a stored version; one that this program can no longer read gives none."""
    with laid_out(versions.files_of(connection, revision)) as folder:
        try:
            yield from compiled(shelf(folder)).values()
        except ContentFaults:
            return


def _go_live(connection: Connection, content: Snapshot, who: str, note: str, now: datetime) -> None:
    versions.keep(connection, content.revision, content.files, now)
    versions.add_publication(connection, content.revision, who, note, now)
    audit.note(connection, who, "published content", None, now, {"version": content.revision})


def _outcome(connection: Connection, before: Publication | None, now_live: Snapshot) -> Published:
    live = versions.live(connection)
    if live is None:
        raise LookupError("A publication that was just added is not there.")
    old = versions.files_of(connection, before.revision) if before else {}
    return Published(live, changed_files(old, now_live.files))
