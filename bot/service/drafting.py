"""The educator's draft: begun from what is live, changed file by file, published or put away.

One draft is open at a time; all educators work on the same. Only files that are there already can
be changed, so no name from outside ever becomes a path.
"""

from collections.abc import Callable
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection, Engine

from bot.content.snapshot import Snapshot, changed_files, revision_of
from bot.service.publishing import Published, PublishFault, live_files
from bot.store import drafts, versions
from bot.store.drafts import Draft, Edit
from bot.store.engine import reading, writing

LONGEST = 256 * 1024  # characters of one file; the largest that ships has 64 thousand
SHOWN = 60  # lines of the log on the page
STARTED, CHANGED, DROPPED = "began a draft", "changed", "put the draft away"
RENEWED, PUBLISHED = "took in what is live", "published the draft"


class DraftFault(ValueError):
    """Nothing was changed; the message says why and what to do."""


def live_content(engine: Engine, shipped: Snapshot) -> Snapshot:
    """What patients get now: what was published last, or what ships."""
    found = live_files(engine)
    return shipped if found is None else found[1]


def start(engine: Engine, live: Snapshot, who: str, now: datetime) -> None:
    """Begin a draft from what is live. Raises DraftFault when one is open."""
    with writing(engine) as connection:
        versions.keep(connection, live.revision, live.files, now)
        draft = drafts.begin(connection, live.revision, live.files, who, now)
        if draft is None:
            raise DraftFault("A draft is open already: go on with it, or put it away first.")
        drafts.note(connection, Edit(draft, now, who, STARTED, ""))


def current(engine: Engine) -> Draft | None:
    """The open draft."""
    with reading(engine) as connection:
        return drafts.open_draft(connection)


def log(engine: Engine) -> list[Edit]:
    """Who did what to drafts, the newest first."""
    with reading(engine) as connection:
        return drafts.edits(connection, SHOWN)


def content_of(draft: Draft) -> Snapshot:
    """The draft as content that can be checked, tried and published."""
    return Snapshot(revision_of(draft.files), draft.files)


def changed_in(draft: Draft, live: Snapshot) -> tuple[str, ...]:
    """The files in which the draft differs from what is live."""
    return changed_files(live.files, draft.files)


def mark_of(text: str) -> str:
    """A name for a text, by which a form says which text it was begun from."""
    return sha256(text.encode()).hexdigest()[:16]


def save(engine: Engine, file: str, text: str, seen: str, who: str, now: datetime) -> bool:
    """Store another text of one file; False when it is the same.

    Raises DraftFault when no draft is open, the text is too long or holds signs that are none, or
    somebody changed the file after the text that was `seen`; LookupError for a file that there is
    not.
    """
    text = tidy(text)
    with writing(engine) as connection:
        draft = _opened(connection)
        if file not in draft.files:
            raise LookupError(f"No file {file} in the draft.")
        if mark_of(draft.files[file]) != seen:
            raise DraftFault(
                "Somebody changed this file meanwhile. Nothing was saved: copy your text, open the "
                "file again and put in what is missing."
            )
        if text == draft.files[file]:
            return False
        drafts.put(connection, draft.id, draft.base, {**draft.files, file: text})
        drafts.note(connection, Edit(draft.id, now, who, CHANGED, file), text)
        return True


def tidy(text: str) -> str:
    """A text as files hold it: plain line ends, one at the end. Raises DraftFault."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    if len(plain) > LONGEST:
        raise DraftFault(f"The file would have more than {LONGEST} characters. Nothing was saved.")
    for number, line in enumerate(plain.split("\n"), start=1):
        if not line.replace("\t", "").isprintable():
            raise DraftFault(
                f"Line {number} holds a sign that cannot be seen. Type that line anew; nothing was "
                "saved."
            )
    return plain.rstrip("\n") + "\n"


def put_away(engine: Engine, who: str, now: datetime) -> None:
    """End the draft without publishing it. Raises DraftFault when none is open."""
    with writing(engine) as connection:
        _end(connection, _opened(connection), DROPPED, who, now)


def renew(engine: Engine, live: Snapshot, who: str, now: datetime) -> tuple[str, ...]:
    """Bring the draft up to what went live since: only the files changed in it stay its own.

    Return those that were changed on both sides: there the draft's text stands, to be looked at.
    """
    with writing(engine) as connection:
        draft = _opened(connection)
        base = versions.files_of(connection, draft.base)
        own = {name: text for name, text in draft.files.items() if base.get(name) != text}
        both = tuple(sorted(set(own) & set(changed_files(base, live.files))))
        versions.keep(connection, live.revision, live.files, now)
        drafts.put(connection, draft.id, live.revision, {**live.files, **own})
        drafts.note(connection, Edit(draft.id, now, who, RENEWED, ""))
        return both


def publish_draft(
    engine: Engine,
    live: Snapshot,
    seen: str,
    publish: Callable[[Snapshot], Published],
    who: str,
    now: datetime,
) -> Published:
    """Let the draft go live if it is still the one that was `seen` and nothing else went live.

    Raises DraftFault or PublishFault when not, ContentFaults when it has faults.
    """
    draft = current(engine)
    if draft is None:
        raise DraftFault("No draft is open.")
    if draft.base != live.revision:
        raise DraftFault("Something else went live since this draft was begun. Take that in first.")
    new = content_of(draft)
    if new.revision != seen:
        raise DraftFault("The draft was changed since you looked at it. Look again, then publish.")
    if not changed_in(draft, live):
        raise PublishFault("The draft is the same as what is live. Nothing was changed.")
    done = publish(new)
    with writing(engine) as connection:
        _leave(connection, new, who, now)
    return done


def _opened(connection: Connection) -> Draft:
    draft = drafts.open_draft(connection, lock=True)
    if draft is None:
        raise DraftFault("No draft is open: begin one first.")
    return draft


def _leave(connection: Connection, published: Snapshot, who: str, now: datetime) -> None:
    """End the draft that went live; what somebody saved in it meanwhile stays, as a draft of it."""
    draft = _opened(connection)
    if draft.files == published.files:
        _end(connection, draft, PUBLISHED, who, now)
        return
    drafts.put(connection, draft.id, published.revision, draft.files)
    drafts.note(connection, Edit(draft.id, now, who, PUBLISHED, ""))


def _end(connection: Connection, draft: Draft, what: str, who: str, now: datetime) -> None:
    drafts.end(connection, draft.id)
    drafts.note(connection, Edit(draft.id, now, who, what, ""))
