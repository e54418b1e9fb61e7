"""The nurse's summary of a case: situation, background, assessment, recommendation request.

The layout is the trade's SBAR (common practice in nursing hand-over). The bot assesses nothing:
under assessment stands what was reported, in the patient's words, and that nobody has judged it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.core.escalation import Case, Entry, Step
from bot.core.protocol import Surgery
from bot.core.telephones import grouped

# Said in another place of the summary, or of use to the chat only.
_ELSEWHERE = frozenset({"because", "asked", "days_left", "day", "of", "reason"})


@dataclass(frozen=True, slots=True)
class Background:
    """What the record knows that a nurse wants beside the alarm."""

    patient: str
    phone: str
    surgeon: str
    surgery: Surgery | None
    holds: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    coach: str = ""
    titles: tuple[tuple[str, str], ...] = ()  # reason name -> title


def summary(case: Case, background: Background, deadline: datetime | None, now: datetime) -> str:
    """Lay the case out as four paragraphs of plain text."""
    zone = ZoneInfo(background.surgery.zone) if background.surgery else ZoneInfo("UTC")
    return "\n".join(
        (
            _situation(case, background, zone),
            _background(background, zone, now),
            _assessment(case, background, zone),
            _request(case, background, deadline, zone),
        )
    )


def _situation(case: Case, background: Background, zone: ZoneInfo) -> str:
    titles = dict(background.titles)
    what = "; ".join(titles.get(reason, reason) for reason in case.reasons)
    first = case.opened
    words = f' Own words: "{first.words}"' if first.words else ""
    if "asked" in first.detail:
        words += f" (asked: {first.detail['asked']})"
    at = _clock(first.at, zone)
    return f"S: [{case.severity.upper()}] {background.patient}: {what}, {at}.{words}"


def _background(background: Background, zone: ZoneInfo, now: datetime) -> str:
    surgery = background.surgery
    if surgery is None:
        return f"B: No surgery on file. Surgeon {background.surgeon}."
    days = (surgery.on - now.astimezone(zone).date()).days
    start = surgery.starts_at.strftime("%H:%M") if surgery.starts_at else "start not yet set"
    when = _away(days)
    lines = [
        f"B: {surgery.side} {surgery.joint} replacement {surgery.on:%a %d %b %Y} {start} ({when}),"
        f" {background.surgeon}."
    ]
    if background.holds:
        lines.append("Medicine holds: " + "; ".join(background.holds) + ".")
    if background.done:
        lines.append("Done: " + ", ".join(background.done) + ".")
    if background.coach:
        lines.append(f"Coach: {background.coach}.")
    return " ".join(lines)


def _away(days: int) -> str:
    if days == 0:
        return "today"
    length = f"{abs(days)} day" if abs(days) == 1 else f"{abs(days)} days"
    return f"in {length}" if days > 0 else f"{length} ago"


def _assessment(case: Case, background: Background, zone: ZoneInfo) -> str:
    lines = ["A: Reported by message, not judged by a clinician.", *_details(case.opened.detail)]
    for entry in case.entries[1:]:
        if not _same_message(entry, case.opened):
            title = dict(background.titles).get(entry.reason, entry.reason)
            lines.extend(_assessed(entry, title, zone))
    if because := case.opened.detail.get("because"):
        lines.append(f"Read from: {because}.")
    return " ".join(lines)


def _details(detail: Mapping[str, str]) -> list[str]:
    return [f"{name}: {value}." for name, value in detail.items() if name not in _ELSEWHERE]


def _same_message(entry: Entry, opened: Entry) -> bool:
    """A further reason in the message that opened the case: the situation names it already."""
    return entry.at == opened.at and entry.words == opened.words and bool(entry.reason)


def _assessed(entry: Entry, title: str, zone: ZoneInfo) -> list[str]:
    at = _clock(entry.at, zone)
    match entry.step:
        case Step.ANSWERED:
            return _details(entry.detail)
        case Step.WORSE:
            return [f"WORSE {at}: {title}{_quoted(entry)}."]
        case Step.SAME:
            return [f"The same again {at}{':' if entry.words else ''}{_quoted(entry)}."]
        case Step.RETURNED:
            return [
                f'Back to the nurse {at}: "{entry.words}".'
                if entry.words
                else f"Back to the nurse {at}: {entry.note.rstrip('?.')}."
            ]
        case _:
            return []


def _quoted(entry: Entry) -> str:
    """The patient's words, if it was words and not silence that came."""
    return f' "{entry.words}"' if entry.words else ""


def _request(case: Case, background: Background, deadline: datetime | None, zone: ZoneInfo) -> str:
    if case.closed:
        return f"R: Closed {_clock(case.entries[-1].at, zone)}: {case.disposition}."
    by = f" by {_clock(deadline, zone)}" if deadline else ""
    phone = grouped(background.phone)
    match case.standing:
        case Step.ACKNOWLEDGED:
            ask = f"Please reach the patient ({phone}){by}."
        case Step.PATIENT_REACHED:
            ask = f"Please write the decision{by}."
        case Step.DECIDED:
            ask = f"Decided: {case.disposition}. Please close or look again{by}."
        case _:
            ask = f"Please acknowledge{by}, call the patient ({phone}) and decide."
    return f"R: {ask}"


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%a %d %b %H:%M")
