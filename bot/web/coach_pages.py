"""A coach's way into the chat: the link as a QR code, to print or to show."""

from starlette.responses import Response

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
    return visit.page(
        "coach_link.html",
        200 if link else 422,
        chart=chart,
        coach=coach,
        link=link,
        qr=qr_of(link) if link else "",
        hours=int(LINK_LASTS.total_seconds() // 3600),
        refused="" if link else refused,
    )
