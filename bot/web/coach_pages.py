"""A coach's way into the chat: the link as a QR code, to print or to show."""

from starlette.responses import Response

from bot.core.handout import handout_words
from bot.service.link_codes import LINK_LASTS
from bot.web.handout import qr_of
from bot.web.visit import Visit


def make_link(visit: Visit) -> Response:
    """A page with a fresh link. It is shown this once; older links of this coach end."""
    patient, number = visit.number("patient"), visit.number("coach")
    chart = visit.app.chart(patient)
    coach = next((each for each in chart.coaches if each.id == number), None)
    if coach is None:
        raise LookupError(f"No coach {number} of patient {patient}.")
    link, refused = None, "No chat is set up on this service: invite the coach by text message."
    try:
        if visit.app.telegram_bot:
            code = visit.app.care.enrolment_code(patient, visit.who, number)
            link = visit.app.enrolment_link(code)
    except ValueError as fault:
        refused = str(fault)
    hours = int(LINK_LASTS.total_seconds() // 3600)
    told = {"name": coach.name, "hours": str(hours)}
    say = handout_words(visit.app.practice.book, told, coach.language)
    return visit.page(
        "coach_link.html",
        200 if link else 422,
        chart=chart,
        coach=coach,
        link=link,
        qr=qr_of(link, say["scan_name"]) if link else "",
        say=say,
        refused="" if link else refused,
    )
