"""The page that opens: who needs a call now. It looks again every ten seconds."""

import hashlib

from starlette.responses import Response

from bot.service.views_worklist import NeedsYou, needs_you
from bot.web.pages import SAID
from bot.web.visit import Visit


def page(visit: Visit) -> Response:
    """Open escalations by urgency and time left, and a word of what was just done."""
    found = _found(visit)
    shown = sorted({card.person.patient for card in found.cards})
    visit.saw(None, "viewed the worklist", patients=shown)
    said = SAID.get(visit.field("said"), "")
    mark = _mark(found)
    return visit.page("needs_you.html", list=found, mark=mark, fresh=_fresh(mark, visit), said=said)


def part(visit: Visit) -> Response:
    """The part that is asked for again and again; a patient not shown before is written down.

    204, nothing to replace, while neither a case nor the minute has changed.
    """
    found = _found(visit)
    mark = _mark(found)
    fresh = _fresh(mark, visit)
    if visit.field("fresh") == fresh:
        return Response(status_code=204)
    known = {int(one) for one in visit.field("known").split(".") if one.isdecimal()}
    new = {card.person.patient for card in found.cards} - known
    if new:
        visit.saw(None, "viewed the worklist", patients=sorted(new))
    response = visit.page("needs_you_part.html", list=found, mark=mark, fresh=fresh, said="")
    response.headers["X-Content-Mark"] = mark
    return response


def _found(visit: Visit) -> NeedsYou:
    asked = visit.field("page")
    number = int(asked) if asked.isdecimal() and len(asked) < 6 else 1
    return needs_you(visit.app.practice, visit.now, number)


def _fresh(mark: str, visit: Visit) -> str:
    """Differs when anything that the page shows differs: times are shown by the minute."""
    return f"{mark}{visit.now:%H%M}"


def _mark(found: NeedsYou) -> str:
    """Differs when anything on the page differs, apart from the time that passes."""
    cards = ",".join(f"{card.case.id}:{card.seen}" for card in found.cards)
    return hashlib.sha256(f"{found.open} {cards}".encode()).hexdigest()[:16]
