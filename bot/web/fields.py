"""Reads the fields of a form; what cannot be read is refused in words."""

from datetime import date, time

from bot.content.cells import CellFault, parse_phone
from bot.web.visit import Visit


class Refused(ValueError):
    """The form cannot be taken as it is; the message says what to mend."""


def a_date(visit: Visit, name: str, what: str) -> date:
    """A date field. Raises Refused when it is none."""
    try:
        found = date.fromisoformat(visit.field(name))
    except ValueError:
        raise Refused(f"Enter the date of the {what} as year-month-day: 2027-03-15.") from None
    if not 1900 <= found.year <= 2200:
        raise Refused(f"The year {found.year} of the {what} cannot be right.")
    return found


def a_time(visit: Visit, name: str) -> time | None:
    """A time field; None when it is empty. Raises Refused when it is no time."""
    given = visit.field(name)
    if not given:
        return None
    try:
        return time.fromisoformat(given).replace(tzinfo=None)
    except ValueError:
        raise Refused(f"“{given[:20]}” is no time of day. Enter it as 07:30.") from None


def a_phone(visit: Visit, name: str) -> str:
    """A telephone number as E.164. Raises Refused when it is none."""
    try:
        return parse_phone(visit.field(name))
    except CellFault as fault:
        raise Refused(f"Telephone number: {fault.what} {fault.mend}") from None
