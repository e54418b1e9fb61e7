"""The page that opens: who needs a call now."""

from starlette.responses import Response

from bot.web.visit import Visit


def page(visit: Visit) -> Response:
    """Open escalations by urgency and time left."""
    return visit.page("needs_you.html")
