"""The log of all escalations: searched, in parts that keep their place."""

from dataclasses import dataclass
from datetime import datetime

from bot.service.practice import Practice
from bot.service.views_cards import Card, cards
from bot.store import worklist
from bot.store.engine import reading
from bot.store.worklist import Slice, Wanted


@dataclass(frozen=True, slots=True)
class LogPage:
    """One part of the log."""

    cards: tuple[Card, ...]
    place: Slice
    total: int


def log(
    practice: Practice,
    now: datetime,
    wanted: Wanted,
    *,
    before: int | None = None,
    after: int | None = None,
    size: int = 50,
) -> LogPage:
    """The escalations that are searched for, newest first."""
    with reading(practice.engine) as connection:
        place = worklist.search(connection, wanted, size, before=before, after=after)
        found = cards(connection, practice, place.ids, now)
        return LogPage(tuple(found), place, worklist.count(connection, wanted))


@dataclass(frozen=True, slots=True)
class Choices:
    """What the log's filters can be set to, and the zone in which its dates are meant."""

    surgeons: tuple[str, ...]
    reasons: tuple[tuple[str, str], ...]
    zone: str


def choices(practice: Practice) -> Choices:
    """Everything there is to choose from."""
    with reading(practice.engine) as connection:
        names, zone = worklist.surgeons(connection), worklist.usual_zone(connection)
    titles = ((reason.name, reason.title) for reason in practice.book.reasons.values())
    return Choices(tuple(names), tuple(sorted(titles, key=lambda pair: pair[1])), zone)
