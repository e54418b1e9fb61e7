"""What the educator sees of the content: which versions went live, and what going back means."""

from collections.abc import Callable
from dataclasses import dataclass

from bot.content.snapshot import Snapshot
from bot.service.practice import Practice
from bot.service.publishing import history
from bot.service.touched import Touched
from bot.store import versions
from bot.store.engine import reading
from bot.store.versions import Publication


@dataclass(frozen=True, slots=True)
class Shelf:
    """Everything that went live, the newest first. `before`: what going back would bring."""

    log: tuple[Publication, ...]
    before: Publication | None


def shelf(practice: Practice) -> Shelf:
    """The publications; none while the content that ships is live."""
    log = tuple(history(practice.engine))
    before = next((one for one in log if one.revision != log[0].revision), None)
    return Shelf(log, before)


def touched_by_going_back(
    practice: Practice, touched: Callable[[Snapshot], tuple[Touched, ...]]
) -> tuple[Touched, ...]:
    """The patients whose messages would change; looks at every countdown, so it takes a while."""
    before = shelf(practice).before
    if before is None:
        return ()
    with reading(practice.engine) as connection:
        files = versions.files_of(connection, before.revision)
    return touched(Snapshot(before.revision, files))
