"""The program report, its charts, and its figures as tables."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from threading import Lock
from urllib.parse import urlencode

from sqlalchemy import Engine
from starlette.responses import Response

from bot.service.views_report import Report, cohort_now, report
from bot.store.figures import Cohort
from bot.web import charts
from bot.web.visit import Visit

_counting = Lock()
_counted: dict[tuple[Engine, Cohort, datetime], Report] = {}  # the last that was asked for
FIELDS = ("from", "to", "surgeon")


def page(visit: Visit) -> Response:
    """All figures of one span of surgery days."""
    found = _found(visit)
    visit.saw(None, "viewed the report")
    query = urlencode({name: visit.field(name) for name in _given(visit)})
    return visit.page("report.html", report=found, query=query, chosen=_chosen(visit, found))


def _given(visit: Visit) -> list[str]:
    return [name for name in FIELDS if visit.field(name)]


def completion(visit: Visit) -> Response:
    """The first chart."""
    return _picture(visit, lambda found: charts.completion(found.completion))


def silence(visit: Visit) -> Response:
    """The second chart."""
    return _picture(visit, lambda found: charts.counts(found.silence, "Patients ahead of surgery"))


def alarms(visit: Visit) -> Response:
    """The third chart."""
    return _picture(visit, lambda found: charts.times(found.alarms))


def redatings(visit: Visit) -> Response:
    """The fourth chart."""
    return _picture(visit, lambda found: charts.counts(found.redatings, "Changes of date"))


def _picture(visit: Visit, draw: Callable[[Report], str]) -> Response:
    return Response(draw(_found(visit)), media_type="image/svg+xml")


def _found(visit: Visit) -> Report:
    """The figures, counted at most once a minute: the page and its four charts show the same."""
    minute = visit.now.replace(second=0, microsecond=0)
    key = (visit.app.engine, _cohort(visit), minute)
    with _counting:
        if key not in _counted:
            _counted.clear()
            _counted[key] = report(visit.app.practice, key[1], visit.now)
        return _counted[key]


def _cohort(visit: Visit) -> Cohort:
    usual = cohort_now(visit.app.practice, visit.now)
    first = _date(visit.field("from")) or usual.first
    last = _date(visit.field("to")) or usual.last
    return replace(usual, first=first, last=last, surgeon=visit.field("surgeon"))


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _chosen(visit: Visit, found: Report) -> dict[str, str]:
    return {
        "from": found.cohort.first.isoformat(),
        "to": found.cohort.last.isoformat(),
        "surgeon": visit.field("surgeon"),
    }
