"""Who is ready: every patient by days to surgery, with each item of the countdown."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from bot.core.readiness import Column, Mark, Sign, columns, marks
from bot.service.practice import Practice
from bot.store import clinic, worklist
from bot.store.clinic import Head, Search
from bot.store.engine import reading

PAGE, GRID = 25, 40  # patients on a page of the list, and of the grid


@dataclass(frozen=True, slots=True)
class Standing:
    """One patient and their items, by the name of the column."""

    head: Head
    days: int  # to surgery, by the hospital's calendar; negative afterwards
    marks: Mapping[str, Mark]

    def count(self, sign: str) -> int:
        """How many items stand so."""
        return sum(mark.sign == sign for mark in self.marks.values())

    def names(self, sign: str) -> list[str]:
        """The items that stand so, in the order of the countdown."""
        return [name for name, mark in self.marks.items() if mark.sign == sign]


@dataclass(frozen=True, slots=True)
class Clinic:
    """A part of the list, and where it is. `first` counts from 1; 0 when the list is empty."""

    rows: tuple[Standing, ...]
    columns: tuple[Column, ...]
    titles: Mapping[str, str]
    total: int
    first: int
    earlier: tuple[int, int] | None  # (patient, place) that the part before begins with
    later: tuple[int, int] | None
    surgeons: tuple[str, ...]
    zone: str


def readiness(
    practice: Practice,
    now: datetime,
    search: Search,
    *,
    size: int = PAGE,
    start: int | None = None,
    place: int = 0,
) -> Clinic:
    """One part of the list. It begins with patient `start`, wherever they are now; when they left
    the list, at `place`, so that turning pages keeps its place while others come and go."""
    with reading(practice.engine) as connection:
        zone = worklist.usual_zone(connection)
        search = replace(search, today=now.astimezone(ZoneInfo(zone)).date())
        ids = clinic.listed(connection, search)
        at = ids.index(start) if start in ids else max(0, min(place, len(ids) - 1))
        rows = standings(connection, practice, ids[at : at + size], now)
        surgeons = tuple(worklist.surgeons(connection))
    items = item_columns(practice)
    return Clinic(
        rows=tuple(rows),
        columns=items,
        titles=titles(practice, items),
        total=len(ids),
        first=at + 1 if ids else 0,
        earlier=(ids[max(0, at - size)], max(0, at - size)) if at > 0 else None,
        later=(ids[at + size], at + size) if at + size < len(ids) else None,
        surgeons=surgeons,
        zone=zone,
    )


def item_columns(practice: Practice) -> tuple[Column, ...]:
    """Every item of every kind of operation."""
    joints = [practice.protocols[name] for name in ("knee", "hip") if name in practice.protocols]
    return columns(joints, len(practice.rules.wash_days))


def titles(practice: Practice, items: Sequence[Column]) -> dict[str, str]:
    """What an item is called in full."""
    flows = practice.book.flows
    return {
        c.name: flows[c.flow].title + (f" {c.name[-1]}" if c.name[-1].isdigit() else "")
        for c in items
        if c.flow in flows
    }


def standings(
    connection: Connection, practice: Practice, ids: Sequence[int], now: datetime
) -> list[Standing]:
    """These patients in order, with the same number of statements however many they are."""
    items = item_columns(practice)
    asked, recorded = clinic.asked(connection, ids), clinic.recorded(connection, ids)
    return [
        Standing(
            head,
            (head.surgery.on - now.astimezone(ZoneInfo(head.surgery.zone)).date()).days,
            marks(
                items,
                recorded[head.id],
                asked[head.id],
                now,
                start_known=head.surgery.starts_at is not None,
            ),
        )
        for head in clinic.heads(connection, ids)
    ]


def tally(rows: Sequence[Standing], items: Sequence[Column]) -> dict[str, dict[str, int]]:
    """For each item how many of these patients stand how."""
    return {
        item.name: {str(s): sum(row.marks[item.name].sign is s for row in rows) for s in Sign}
        for item in items
    }
