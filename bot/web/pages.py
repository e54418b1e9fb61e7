"""The templates' environment: what every template can say, how moments and phones are written."""

import re
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from babel import Locale, UnknownLocaleError
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from bot.core.telephones import grouped

STEPS = {
    "opened": "Reported",
    "patient_told": "The patient was told what happens next",
    "nurse_notified": "Told",
    "answered": "The patient answered",
    "worse": "More was reported",
    "same": "The same was reported again",
    "returned": "The patient did not get through, or fell silent",
    "acknowledged": "Taken",
    "patient_reached": "Patient reached",
    "decided": "Decided",
    "closed": "Closed",
    "noted": "Note",
    "undone": "Taken back",
}
SAID = {
    "acknowledge": "It is yours now.",
    "reached": "Written down: you spoke with the patient.",
    "note": "The note is in the log.",
    "decide": "The decision is saved, and the patient is being told.",
    "close": "Closed.",
    "undo": "Taken back. The log shows both.",
}
_MINUTE, _HOUR, _DAY = 60, 3600, 86400


@lru_cache(maxsize=2)  # templates are compiled once however many applications there are
def page_environment(titles: tuple[tuple[str, str], ...]) -> Environment:
    """Templates of this package; `titles` are pairs of a reason for an escalation and its title.

    Everything is escaped, and a missing value is an error.
    """
    made = Environment(
        loader=PackageLoader("bot.web"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        local=local,
        day=day,
        iso=iso,
        span=span,
        tel=tel,
        number=grouped,
        words=words,
        language_name=language_name,
        capital=capital,
    )
    made.filters["moment_of"] = datetime.fromisoformat
    made.globals.update(plural=plural, STEPS=STEPS, SAID=SAID, TITLES=dict(titles))
    return made


def local(at: datetime | None, zone: str, form: str = "%a %d %b, %H:%M") -> str:
    """An instant on the hospital's clock, such as "Mon 01 Mar, 14:05"."""
    return at.astimezone(ZoneInfo(zone)).strftime(form) if at else ""


def day(on: date | None) -> str:
    """A date such as "Mon 15 Mar 2027"."""
    return on.strftime("%a %d %b %Y") if on else ""


def iso(at: datetime | date) -> str:
    """What machines read in a `time` element."""
    return at.isoformat()


def span(length: timedelta) -> str:
    """A length of time in its two largest units: "3 h 5 min", "2 d 4 h"; never below "1 min"."""
    seconds = int(abs(length.total_seconds()))
    days, hours, minutes = seconds // _DAY, seconds % _DAY // _HOUR, seconds % _HOUR // _MINUTE
    if days:
        return f"{days} d {hours} h" if hours else f"{days} d"
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{max(minutes, 1)} min"


def tel(address: str) -> str:
    """The target of a link that dials; "" when the address is no telephone number."""
    digits = re.sub(r"[\s().-]", "", address)
    return f"tel:{digits}" if re.fullmatch(r"\+?\d{3,15}", digits) else ""


def language_name(code: str) -> str:
    """The English name of a language: "es" is "Spanish"; a code that nobody knows as it is."""
    try:
        return Locale.parse(code).get_display_name("en") or code
    except (UnknownLocaleError, ValueError):
        return code


def words(name: str) -> str:
    """A stored name as people write it: "goes_ahead" is "goes ahead"."""
    return str(name).replace("_", " ")


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def plural(count: int, one: str, many: str = "") -> str:
    """ "1 patient", "2 patients"."""
    return f"{count} {one if count == 1 else many or one + 's'}"
