"""An escalation as one row of a table that leaves the building."""

from datetime import datetime
from zoneinfo import ZoneInfo

from bot.core.escalation import Entry, Step
from bot.service.views_cards import Card

HEADINGS = (
    "escalation", "opened", "severity", "reasons", "patient reference", "patient", "surgeon",
    "surgery date", "patient's words", "state", "acknowledged by", "minutes to acknowledge",
    "minutes to reach the patient", "disposition", "decision note", "closed", "closed by",
    "closing note", "test",
)  # fmt: skip
# A spreadsheet takes a cell that begins so for a formula, and runs it (ASVS 5.0, chapter 1).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def defused(cell: str) -> str:
    """The cell with a quotation mark before it when a spreadsheet would run it."""
    return "'" + cell if cell.startswith(_FORMULA) else cell


def row(card: Card) -> tuple[str, ...]:
    """The cells of one escalation, in the order of HEADINGS. Times are the hospital's."""
    case, person = card.case, card.person
    taken, reached = _first(card, Step.ACKNOWLEDGED), _first(card, Step.PATIENT_REACHED)
    decided = _last(card, Step.DECIDED)
    closed = case.entries[-1] if case.closed else None
    return (
        str(case.id),
        _time(case.opened.at, card.zone),
        case.severity,
        "; ".join(card.titles),
        person.reference,
        person.name,
        person.surgeon,
        person.surgery.on.isoformat(),
        " / ".join(entry.words for entry in card.words),
        str(case.standing),
        taken.who if taken else "",
        _minutes(card, taken or reached),
        _minutes(card, reached),
        str(case.disposition or ""),
        decided.note if decided else "",
        _time(closed.at, card.zone) if closed else "",
        closed.who if closed else "",
        closed.note if closed else "",
        "yes" if person.trial else "",
    )


def _first(card: Card, step: Step) -> Entry | None:
    return next((e for e in card.case.standing_entries if e.step is step), None)


def _last(card: Card, step: Step) -> Entry | None:
    return next((e for e in reversed(card.case.standing_entries) if e.step is step), None)


def _minutes(card: Card, entry: Entry | None) -> str:
    if entry is None:
        return ""
    return str(round((entry.at - card.case.opened.at).total_seconds() / 60))


def _time(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
