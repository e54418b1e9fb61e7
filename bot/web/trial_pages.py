"""A patient who is not real, one for each member of staff, to try things on."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from starlette.responses import Response

from bot.channels.base import Incoming
from bot.core.protocol import Surgery
from bot.core.record import OnCall
from bot.service.enrolment import Enrolment
from bot.service.practice import PAGE
from bot.service.views_log import choices
from bot.store.worklist import TRIAL
from bot.web.visit import Visit

SURGEON = "Dr. Test (nobody)"
AHEAD = timedelta(days=10)
FIRST_WORDS = "I have a fever of 101.5 since this morning"


def page(visit: Visit) -> Response:
    """What the test patient's phone shows, and a field to write on it."""
    patient = visit.app.find(_reference(visit))
    lines = visit.app.threads(patient) if patient else []
    open_ones = [item.case.id for item in visit.app.worklist(patient)] if patient else []
    zone = choices(visit.app.practice).zone
    heard = [line for line in lines if "nurse" not in (line.who, line.to)]
    return visit.page(
        "trial.html", patient=patient, lines=heard, cases=open_ones, zone=zone, first=FIRST_WORDS
    )


def write(visit: Visit) -> Response:
    """Let the test patient write something; they are enrolled the first time."""
    if visit.app.find(_reference(visit)) is None:
        _enrol(visit)
    text = visit.field("text")
    if text:
        message = visit.site.new_token()
        visit.app.handle(Incoming(TRIAL, _reference(visit), text, message, visit.now))
    return visit.goto("/trial")


def _reference(visit: Visit) -> str:
    return f"TRIAL-{visit.account.id}"


def _enrol(visit: Visit) -> None:
    """Nobody's phone rings for the test surgeon: the list stands on this page only."""
    zone = choices(visit.app.practice).zone
    visit.app.care.set_on_call(SURGEON, [OnCall("This page", PAGE, "trial")])
    on = (visit.now.astimezone(ZoneInfo(zone)) + AHEAD).date()
    wish = Enrolment(
        reference=_reference(visit),
        name=f"Test of {visit.who}",
        channel=TRIAL,
        address=_reference(visit),
        surgery=Surgery("knee", "right", on, zone),
        surgeon=SURGEON,
        agreed="paper",
    )
    visit.app.care.enrol(wish, visit.who)
