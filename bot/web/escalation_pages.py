"""One escalation: its whole story, and everything that a nurse does with it.

Each form says how much of the log it was written from (`seen`). When something has happened since,
nothing is stored; the page then shows who did what, with the words that were typed still there.
"""

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from starlette.responses import Response

from bot.core.escalation import Disposition, NotAllowed
from bot.core.taking_back import Overtaken
from bot.service.views_cards import Card, card
from bot.service.views_story import story
from bot.web.visit import Visit

_DRAFT = ("note", "disposition", "recheck_at", "words")


def page(visit: Visit) -> Response:
    """The story as a timeline, with what can be done now."""
    found = card(visit.app.practice, visit.number("case"), visit.now)
    visit.saw(found.person.patient, "viewed an escalation", escalation=found.case.id)
    return _shown(visit, found)


def acknowledge(visit: Visit) -> Response:
    """Take it."""
    case, seen = visit.number("case"), _seen(visit)
    return _done(
        visit, "acknowledge", lambda: visit.app.care.acknowledge(case, visit.who, seen=seen)
    )


def reached(visit: Visit) -> Response:
    """The patient was reached, with a note of what was said."""
    case, seen, note = visit.number("case"), _seen(visit), visit.field("note")
    return _done(
        visit, "reached", lambda: visit.app.care.reach_patient(case, visit.who, note, seen)
    )


def note(visit: Visit) -> Response:
    """A note, such as a call that nobody answered."""
    case, text = visit.number("case"), visit.field("note")
    return _done(visit, "note", lambda: visit.app.care.note(case, visit.who, text))


def decide(visit: Visit) -> Response:
    """The decision; the patient is told."""

    def store() -> None:
        disposition = _disposition(visit)
        visit.app.care.decide(
            visit.number("case"),
            disposition,
            visit.who,
            visit.field("note"),
            visit.field("words") or None,
            _recheck_at(visit) if disposition is Disposition.WATCH else None,
            _seen(visit),
        )

    return _done(visit, "decide", store)


def close(visit: Visit) -> Response:
    """The end of it."""
    case, seen, text = visit.number("case"), _seen(visit), visit.field("note")
    return _done(visit, "close", lambda: visit.app.care.close(case, visit.who, text, seen))


def undo(visit: Visit) -> Response:
    """One's own last step, taken back."""
    case, seen = visit.number("case"), _seen(visit)
    return _done(visit, "undo", lambda: visit.app.care.undo(case, visit.who, seen))


def _done(visit: Visit, what: str, store: Callable[[], None]) -> Response:
    """Store it and go back to where the nurse was; or show why it was refused, with the draft."""
    case = visit.number("case")
    try:
        store()
    except NotAllowed as refused:
        found = card(visit.app.practice, case, visit.now)
        status = 409 if isinstance(refused, Overtaken) else 422
        return _shown(visit, found, status, refused, what)
    if visit.field("back") == "story":
        return visit.goto(f"/escalations/{case}", said=what)
    place = visit.field("page")
    return visit.goto("/", page=place if place.isdecimal() else "", said=what, case=case)


def _shown(
    visit: Visit,
    found: Card,
    status: int = 200,
    refused: NotAllowed | None = None,
    act: str = "",
) -> Response:
    from_form = {name: visit.field(name) if refused else "" for name in _DRAFT}
    return visit.page(
        "escalation.html",
        status,
        card=found,
        story=story(visit.app.practice, found.case),
        said=visit.request.query_params.get("said", ""),
        refused=refused,
        news=refused.news if isinstance(refused, Overtaken) else (),
        draft=from_form,
        act=act,
    )


def _seen(visit: Visit) -> int:
    """How many entries the form was written from; 0, which refuses the most, when it says none."""
    given = visit.field("seen")
    return int(given) if given.isdecimal() and len(given) < 6 else 0


def _disposition(visit: Visit) -> Disposition:
    try:
        return Disposition(visit.field("disposition"))
    except ValueError:
        raise NotAllowed("No decision was chosen. Choose one from the list.") from None


def _recheck_at(visit: Visit) -> datetime | None:
    """The moment typed, on the hospital's clock."""
    zone = card(visit.app.practice, visit.number("case"), visit.now).zone
    try:
        typed = datetime.fromisoformat(visit.field("recheck_at"))
    except ValueError:
        return None
    return typed.replace(tzinfo=ZoneInfo(zone)) if typed.tzinfo is None else typed
