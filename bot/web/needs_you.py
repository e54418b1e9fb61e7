"""The page that opens: who needs a call now. It looks again every ten seconds."""

import hashlib
from collections.abc import Sequence

from starlette.responses import Response

from bot.service.views_worklist import NeedsYou, needs_you
from bot.service.watching import Standstill, standstills
from bot.web.pages import SAID
from bot.web.visit import Visit


def page(visit: Visit) -> Response:
    """Open escalations by urgency and time left, and a word of what was just done."""
    found, still = _found(visit), _still(visit)
    shown = sorted({card.person.patient for card in found.cards})
    visit.saw(None, "viewed the worklist", patients=shown)
    said = SAID.get(visit.field("said"), "")
    mark = _mark(found, still)
    fresh = _fresh(mark, visit)
    return visit.page("needs_you.html", list=found, still=still, mark=mark, fresh=fresh, said=said)


def part(visit: Visit) -> Response:
    """The part that is asked for again and again; a patient not shown before is written down.

    204, nothing to replace, while neither a case nor the minute has changed.
    """
    found, still = _found(visit), _still(visit)
    mark = _mark(found, still)
    fresh = _fresh(mark, visit)
    if visit.field("fresh") == fresh:
        return Response(status_code=204)
    known = {int(one) for one in visit.field("known").split(".") if one.isdecimal()}
    new = {card.person.patient for card in found.cards} - known
    if new:
        visit.saw(None, "viewed the worklist", patients=sorted(new))
    response = visit.page(
        "needs_you_part.html", list=found, still=still, mark=mark, fresh=fresh, said=""
    )
    response.headers["X-Content-Mark"] = mark
    return response


def _found(visit: Visit) -> NeedsYou:
    asked = visit.field("page")
    number = int(asked) if asked.isdecimal() and len(asked) < 6 else 1
    return needs_you(visit.app.practice, visit.now, number)


def _fresh(mark: str, visit: Visit) -> str:
    """Differs when anything that the page shows differs: times are shown by the minute."""
    return f"{mark}{visit.now:%H%M}"


def _mark(found: NeedsYou, still: Sequence[Standstill]) -> str:
    """Differs when anything on the page differs, apart from the time that passes."""
    cards = ",".join(f"{card.case.id}:{card.seen}" for card in found.cards)
    roles = ",".join(each.role for each in still)
    return hashlib.sha256(f"{found.open} {cards} {roles}".encode()).hexdigest()[:16]


def _still(visit: Visit) -> list[Standstill]:
    """What of the service does not go on, for a nurse is the first whom it concerns."""
    return standstills(visit.app.engine, visit.now)
