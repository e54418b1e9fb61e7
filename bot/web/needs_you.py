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
    return visit.page("needs_you.html", list=found, mark=_mark(found), said=said)


def part(visit: Visit) -> Response:
    """The part that is asked for again and again; a patient not shown before is written down."""
    found = _found(visit)
    known = {int(one) for one in visit.field("known").split(".") if one.isdecimal()}
    fresh = {card.person.patient for card in found.cards} - known
    if fresh:
        visit.saw(None, "viewed the worklist", patients=sorted(fresh))
    response = visit.page("needs_you_part.html", list=found, mark=_mark(found), said="")
    response.headers["X-Content-Mark"] = _mark(found)
    return response


def _found(visit: Visit) -> NeedsYou:
    asked = visit.field("page")
    number = int(asked) if asked.isdecimal() and len(asked) < 6 else 1
    return needs_you(visit.app.practice, visit.now, number)


def _mark(found: NeedsYou) -> str:
    """Differs when anything on the page differs, apart from the time that passes."""
    cards = ",".join(f"{card.case.id}:{card.seen}" for card in found.cards)
    return hashlib.sha256(f"{found.open} {cards}".encode()).hexdigest()[:16]
