"""One's own account: a second factor set up, and taken away."""

from starlette.responses import Response

from bot.core.second_factor import link_of
from bot.service import second_factor
from bot.service.second_factor import CodeRefused
from bot.web.handout import qr_of
from bot.web.visit import Visit


def page(visit: Visit) -> Response:
    """How it stands, and what can be done."""
    return _shown(visit)


def begin(visit: Visit) -> Response:
    """Make a secret and show it, as a QR code and to be typed."""
    second_factor.begin(visit.app.engine, visit.account, visit.site.new_token(), visit.now)
    return visit.goto("/account")


def confirm(visit: Visit) -> Response:
    """From here on the code is asked for; the recovery codes are shown this once."""
    chance, code = visit.site.new_token(), visit.field("code")
    try:
        codes = second_factor.confirm(visit.app.engine, visit.account, code, chance, visit.now)
    except CodeRefused as refused:
        return _shown(visit, 422, refused=str(refused))
    return _shown(visit, codes=codes)


def remove(visit: Visit) -> Response:
    """The password alone opens the account again."""
    try:
        second_factor.remove(visit.app.engine, visit.account, visit.field("code"), visit.now)
    except CodeRefused as refused:
        return _shown(visit, 422, refused=str(refused))
    return visit.goto("/account")


def _shown(
    visit: Visit, status: int = 200, refused: str = "", codes: tuple[str, ...] = ()
) -> Response:
    now = second_factor.standing(visit.app.engine, visit.account)
    link = link_of(now.secret, visit.who) if now.secret else ""
    return visit.page(
        "account.html",
        status,
        standing=now,
        qr=qr_of(link, "QR code for your authenticator") if link else "",
        codes=codes,
        refused=refused,
    )
