"""The log of every escalation, its export, and the handover to the next shift."""

import csv
import io
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from starlette.responses import Response, StreamingResponse

from bot.core.escalation import Disposition
from bot.service.views_cards import Card
from bot.service.views_log import choices, log
from bot.service.views_worklist import handover
from bot.store.worklist import Wanted
from bot.web.log_rows import HEADINGS, defused, row
from bot.web.visit import Visit

FILTERS = ("from", "to", "reason", "surgeon", "disposition", "state")
STATES = (
    ("", "any"),
    ("open", "open"),
    ("untaken", "open, nobody has it"),
    ("acknowledged", "open, taken"),
    ("patient_reached", "open, patient reached"),
    ("decided", "open, decided"),
    ("closed", "closed"),
)
_CHUNK = 500


def page(visit: Visit) -> Response:
    """One part of the log, with its filters."""
    options = choices(visit.app.practice)
    wanted = _wanted(visit, options.zone)
    before, after = _place(visit, "before"), _place(visit, "after")
    found = log(visit.app.practice, visit.now, wanted, before=before, after=after)
    visit.saw(None, "viewed the log", escalations=list(found.place.ids))
    return visit.page(
        "log.html",
        found=found,
        options=options,
        states=STATES,
        dispositions=tuple(Disposition),
        chosen={name: visit.field(name) for name in FILTERS},
        query=_query(visit),
    )


def export(visit: Visit) -> Response:
    """The same search as a CSV file. Who took it out, and with which filters, is written down."""
    wanted = _wanted(visit, choices(visit.app.practice).zone)
    told = {name: visit.field(name) for name in FILTERS if visit.field(name)}
    visit.saw(None, "exported the log", filters=told)
    name = f"escalations-{visit.now:%Y%m%d-%H%M}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(_lines(visit, wanted), headers=headers, media_type="text/csv")


def _lines(visit: Visit, wanted: Wanted) -> Iterator[str]:
    """The file in pieces, so that a long one is never whole in memory."""
    yield "\ufeff" + _csv([HEADINGS])  # the mark by which spreadsheets know UTF-8
    before: int | None = None
    while True:
        part = log(visit.app.practice, visit.now, wanted, before=before, size=_CHUNK)
        yield _csv([row(card) for card in part.cards])
        before = part.place.older
        if before is None:
            return


def _csv(rows: list[tuple[str, ...]]) -> str:
    written = io.StringIO()
    csv.writer(written).writerows([defused(cell) for cell in cells] for cells in rows)
    return written.getvalue()


def handover_page(visit: Visit) -> Response:
    """What the next shift must know, on one sheet."""
    sheet = handover(visit.app.practice, visit.now)
    groups: tuple[tuple[Card, ...], ...] = (
        sheet.untaken, sheet.in_hand, sheet.decided, sheet.closed
    )  # fmt: skip
    shown = sorted({card.person.patient for group in groups for card in group})
    visit.saw(None, "viewed the handover", patients=shown)
    return visit.page("handover.html", sheet=sheet)


def _wanted(visit: Visit, zone: str) -> Wanted:
    """The filters as a search; the dates are days of the hospital's calendar, both included."""
    first, last = _date(visit.field("from")), _date(visit.field("to"))
    return Wanted(
        since=_midnight(first, zone) if first else None,
        until=_midnight(last + timedelta(days=1), zone) if last else None,
        reason=visit.field("reason"),
        surgeon=visit.field("surgeon"),
        disposition=visit.field("disposition"),
        state=visit.field("state"),
    )


def _date(text: str) -> date | None:
    """A date as browsers send it; anything else, and what no calendar has, is no filter."""
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return None
    return found if 1990 <= found.year <= 2200 else None


def _midnight(on: date, zone: str) -> datetime:
    return datetime.combine(on, time(), tzinfo=ZoneInfo(zone))


def _place(visit: Visit, name: str) -> int | None:
    given = visit.field(name)
    return int(given) if given.isdecimal() and len(given) < 10 else None


def _query(visit: Visit) -> str:
    """The filters as they go into links to other parts and to the export."""
    return urlencode({name: visit.field(name) for name in FILTERS if visit.field(name)})
