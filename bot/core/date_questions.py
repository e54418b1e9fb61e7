"""What to ask a person before a date of surgery is stored: it may be right, but is often a slip."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, time

from bot.core.protocol import OfficeHours, Surgery

FAR_AHEAD_DAYS = 365  # common practice, no source
_FIRST_START, _LAST_START = time(6, 0), time(18, 0)  # common practice, no source


@dataclass(frozen=True, slots=True)
class Known:
    """An operation that is already on record, of somebody who may be the same person."""

    patient: int
    reference: str
    name: str
    surgery: Surgery


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to confirm. `name` tells it apart from the others on the form."""

    name: str
    text: str


def date_questions(
    surgery: Surgery, today: date, hours: OfficeHours | None = None, known: Iterable[Known] = ()
) -> tuple[Question, ...]:
    """Everything that is unusual about a date, in the order in which a person would see it."""
    return (*_day(surgery.on, today, hours), *_start(surgery), *_others(surgery, known))


def _day(on: date, today: date, hours: OfficeHours | None) -> Iterator[Question]:
    days = (on - today).days
    if days < 0:
        yield Question("past", f"{on:%a %d %b %Y} is past: {-days} days ago. Is the date right?")
    elif days == 0:
        yield Question("today", "The surgery is today. Nothing can be prepared any more. Right?")
    elif days > FAR_AHEAD_DAYS:
        yield Question("far", f"{on:%a %d %b %Y} is more than a year ahead. Is the year right?")
    if on.weekday() >= 5:
        yield Question("weekend", f"{on:%d %b %Y} is a {on:%A}. Is the date right?")
    if hours is not None and on in hours.holidays:
        yield Question("holiday", f"The office is closed on {on:%a %d %b %Y}. Is the date right?")


def _start(surgery: Surgery) -> Iterator[Question]:
    at, arrive = surgery.starts_at, surgery.arrive_at
    if at is not None and not _FIRST_START <= at <= _LAST_START:
        yield Question("night", f"{at:%H:%M} is an unusual start (24-hour clock). Is it right?")
    if at is not None and arrive is not None and arrive >= at:
        yield Question("arrival", f"Arrival {arrive:%H:%M} is not before the start {at:%H:%M}.")


def _others(surgery: Surgery, known: Iterable[Known]) -> Iterator[Question]:
    for other in known:
        was = other.surgery
        if (was.side, was.joint) == (surgery.side, surgery.joint):
            text = f"the same {was.side} {was.joint} is on record for {other.name}"
        else:
            text = f"the {was.side} {was.joint} is on record for {other.name}"
        yield Question(
            f"other-{other.patient}",
            f"For a person of this name and date of birth {text} ({other.reference}), on"
            f" {was.on:%a %d %b %Y}. Is the {surgery.side} {surgery.joint} meant, and as another"
            " operation?",
        )
