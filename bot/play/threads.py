"""The three threads of a story, patient, coach and nurse, in time order, readable in a terminal."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text


class Thread(StrEnum):
    """Whose thread a line belongs to."""

    PATIENT = "patient"
    COACH = "coach"
    NURSE = "nurse"
    STORY = "story"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a thread. `written` is True when the person wrote it, False when they got it."""

    at: datetime
    thread: Thread
    who: str
    text: str
    written: bool = False


_STYLE = {
    Thread.PATIENT: "cyan",
    Thread.COACH: "green",
    Thread.NURSE: "bold red",
    Thread.STORY: "dim italic",
}


Dates = Sequence[tuple[datetime, date | None]]  # from this instant on, the surgery is on that day


def render(lines: Sequence[Line], zone: str, dates: Dates) -> RenderableType:
    """All lines, a rule for each new day that says how many days are left."""
    return Group(*_blocks(sorted(lines, key=lambda line: line.at), ZoneInfo(zone), dates))


def _blocks(lines: Sequence[Line], zone: ZoneInfo, dates: Dates) -> Iterator[RenderableType]:
    day: date | None = None
    for line in lines:
        local = line.at.astimezone(zone)
        if local.date() != day:
            day = local.date()
            yield Text()
            known = [on for since, on in dates if since <= line.at]
            yield Rule(_heading(day, known[-1] if known else None), style="dim", align="left")
        yield _row(line, local)


def _heading(day: date, surgery_on: date | None) -> str:
    named = f"{day:%A} {day.day} {day:%B %Y}"
    if surgery_on is None:
        return f"{named}, no date for the surgery"
    left = (surgery_on - day).days
    match left:
        case 0:
            distance = "day of surgery"
        case 1:
            distance = "1 day to go"
        case _ if left > 1:
            distance = f"{left} days to go"
        case _:
            distance = f"day {-left} after surgery"
    return f"{named}, {distance}"


def _row(line: Line, local: datetime) -> Table:
    row = Table.grid(padding=(0, 1))
    row.add_column(width=5, style="dim")
    row.add_column(width=20)
    row.add_column(ratio=1)
    style = _STYLE[line.thread]
    row.add_row(f"{local:%H:%M}", Text(_label(line), style=style, overflow="ellipsis"), line.text)
    return row


def _label(line: Line) -> str:
    match line.thread:
        case Thread.STORY:
            return "(story)"
        case Thread.NURSE:
            return "NURSE'S LOG"
        case _:
            return f"{line.who} writes" if line.written else f"to {line.who}"
