"""The educator's page: which content is live, whom going back would touch, and going back."""

from starlette.responses import Response

from bot.service.drafting import current
from bot.service.publishing import PublishFault
from bot.service.touched import Touched
from bot.service.views_content import shelf, touched_by_going_back
from bot.service.views_log import choices
from bot.web.visit import Visit


def page(visit: Visit) -> Response:
    """What went live, when, by whom, and why."""
    return _shown(visit)


def preview(visit: Visit) -> Response:
    """Whom going back would touch; nothing is changed."""
    found = touched_by_going_back(visit.app.practice, visit.app.touched)
    visit.saw(None, "previewed content", patients=[one.patient for one in found])
    return _shown(visit, found=found, looked=True)


def back(visit: Visit) -> Response:
    """Let the version before go live again, if it is still the one that was looked at."""
    now = shelf(visit.app.practice)
    if now.before is None or not now.log or visit.field("live") != str(now.log[0].id):
        return _shown(visit, 409, "Something was published since. Nothing was changed: look again.")
    if not visit.field("note"):
        return _shown(visit, 422, "Say why, for the log. Nothing was changed.")
    try:
        visit.app.go_back(visit.who, visit.field("note"))
    except PublishFault as fault:
        return _shown(visit, 422, str(fault))
    return visit.goto("/content", said="back")


def _shown(
    visit: Visit,
    status: int = 200,
    refused: str = "",
    found: tuple[Touched, ...] = (),
    looked: bool = False,
) -> Response:
    return visit.page(
        "content.html",
        status,
        shelf=shelf(visit.app.practice),
        drafted=current(visit.app.engine) is not None,
        zone=choices(visit.app.practice).zone,
        refused=refused,
        found=found,
        looked=looked,
        said=visit.field("said"),
    )
