"""Who is ready: the list with what is late, and the grid of the whole clinic."""

from urllib.parse import urlencode

from starlette.responses import Response

from bot.service.views_readiness import GRID, PAGE, Clinic, readiness, tally
from bot.store.clinic import Search
from bot.web.visit import Visit

FIELDS = ("words", "when", "surgeon", "joint", "sort", "view")
WHEN = (
    ("coming", "still to come"),
    ("week", "in the next 7 days"),
    ("past", "past"),
    ("stopped", "postponed or cancelled"),
    ("all", "all"),
)
SORT = (
    ("date", "day of surgery"),
    ("done", "fewest steps done first"),
    ("name", "name"),
    ("surgeon", "surgeon"),
)


def page(visit: Visit) -> Response:
    """One part of the list, or of the grid."""
    grid = visit.field("view") == "grid"
    found = readiness(
        visit.app.practice,
        visit.now,
        _search(visit),
        size=GRID if grid else PAGE,
        start=_number(visit, "start"),
        place=_number(visit, "place") or 0,
    )
    visit.saw(None, "viewed readiness", patients=[row.head.id for row in found.rows])
    return visit.page(
        "readiness_grid.html" if grid else "readiness.html",
        list=found,
        counts=tally(found.rows, found.columns),
        chosen={name: visit.field(name) for name in FIELDS},
        whens=WHEN,
        sorts=SORT,
        links=_links(visit, found),
    )


def _search(visit: Visit) -> Search:
    when, sort = visit.field("when"), visit.field("sort")
    return Search(
        today=visit.now.date(),  # replaced by the hospital's day
        words=visit.field("words")[:80],
        surgeon=visit.field("surgeon"),
        joint=visit.field("joint"),
        when=when if when in dict(WHEN) else "coming",
        sort=sort if sort in dict(SORT) else "date",
    )


def _number(visit: Visit, name: str) -> int | None:
    given = visit.field(name)
    return int(given) if given.isdecimal() and len(given) < 10 else None


def _links(visit: Visit, found: Clinic) -> dict[str, str]:
    """Addresses of the parts on either side, and of the other view."""
    kept = {name: visit.field(name) for name in FIELDS if visit.field(name)}
    links = {"earlier": "", "later": ""}
    for name, beside in (("earlier", found.earlier), ("later", found.later)):
        if beside is not None:
            links[name] = "?" + urlencode({**kept, "start": beside[0], "place": beside[1]})
    other = {**kept, "view": "" if kept.get("view") == "grid" else "grid"}
    links["other"] = "?" + urlencode({name: v for name, v in other.items() if v})
    return links
