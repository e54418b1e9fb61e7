"""Reads single cells of a schedule: dates, clock times, telephone numbers, facts, medicine holds.

Dates are ISO (2027-03-15) or US (3/15/2027); a US date that could also be read day first (3/4/2027)
is refused, because a wrong surgery date is worse than a question.
"""

import re
from collections.abc import Callable
from datetime import date, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import phonenumbers

from bot.core.protocol import FactValue, MedicineHold

_US_DATE = re.compile(r"^(\d{1,2})/(\d{1,2})/(\d{4})$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})$")


class CellFault(ValueError):
    """A cell that cannot be read: (what, mend)."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.mend = what, mend


def parse_date(text: str) -> date:
    """An ISO or US date; raises ValueError when it is neither, or could be two dates."""
    if us := _US_DATE.match(text):
        month, day, year = (int(part) for part in us.groups())
        if month <= 12 and day <= 12 and month != day:
            raise CellFault(
                f"'{text}' could be month first or day first.",
                f"Write it as {year}-MM-DD.",
            )
        return _real_date(year, month, day, text)
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CellFault(f"'{text}' is not a date.", "Write it as 2027-03-15.") from None


def _real_date(year: int, month: int, day: int, text: str) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise CellFault(f"'{text}' is not a day of the calendar.", "Check month and day.") from None


def parse_clock(text: str) -> time | None:
    """A 24-hour clock time such as 07:30; empty means not known yet."""
    if not text:
        return None
    found = _CLOCK.match(text)
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        raise CellFault(f"'{text}' is not a time of day.", "Write it as 07:30, or leave it empty.")
    return time(int(found[1]), int(found[2]))


def parse_phone(text: str) -> str:
    """A telephone number in E.164 form; a US number may leave out the +1."""
    try:
        number = phonenumbers.parse(text, "US")
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise CellFault(f"'{text}' is not a telephone number.", "Write it as +1-202-555-0123.")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def parse_word(allowed: tuple[str, ...]) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text.lower() not in allowed:
            raise CellFault(f"'{text}' is not known.", f"Use one of: {', '.join(allowed)}.")
        return text.lower()

    return parse


def parse_zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError):
        raise CellFault(
            f"'{text}' is not a time zone.", "Use a name such as America/New_York."
        ) from None
    return text


def parse_consent(text: str) -> str:
    """How the patient agreed: paper, class, or the name of the form; empty when not yet."""
    answer = text.lower()
    if answer in ("no", "false", "refused"):
        raise CellFault(
            "the patient does not want messages.", "Take the row out: they are called instead."
        )
    if answer in ("yes", "true", "y", "x"):
        raise CellFault(
            f"'{text}' does not say what was agreed to.",
            "Write paper, class, or the name of the form; leave it empty to ask by text.",
        )
    return answer if answer in ("paper", "class") else text


def parse_filled(text: str) -> str:
    if not text:
        raise CellFault("it is empty.", "Fill it in.")
    return text


def parse_facts(text: str) -> dict[str, FactValue]:
    """`smoker=yes; pets=no` -> {"smoker": True, "pets": False}."""
    facts: dict[str, FactValue] = {}
    for piece in filter(None, (part.strip() for part in text.split(";"))):
        name, equals, value = (part.strip() for part in piece.partition("="))
        if not equals or not value:
            raise CellFault(f"'{piece}' is not a fact.", "Write facts as smoker=yes; pets=no.")
        facts[name] = fact_value(value)
    return facts


def fact_value(text: str) -> FactValue:
    """`yes`/`no` become booleans, digits a whole number, anything else stays text."""
    lowered = text.lower()
    if lowered in ("yes", "true", "no", "false"):
        return lowered in ("yes", "true")
    return int(text) if text.isdecimal() else text


def parse_holds(text: str) -> tuple[MedicineHold, ...]:
    """`medicine | last dose date | prescriber | instruction`, several divided by `;`."""
    return tuple(_hold(piece.strip()) for piece in text.split(";") if piece.strip())


def _hold(piece: str) -> MedicineHold:
    cells = [cell.strip() for cell in piece.split("|")]
    if len(cells) not in (3, 4) or not all(cells[:3]):
        raise CellFault(
            f"'{piece}' is not a medicine hold.",
            "Write: medicine | last dose date | prescriber | instruction.",
        )
    return MedicineHold(cells[0], parse_date(cells[1]), cells[2], "".join(cells[3:]))
