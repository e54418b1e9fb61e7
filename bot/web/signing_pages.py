"""Signing in, staying, and signing out."""

from starlette.responses import Response

from bot.core.staff import Account, Role
from bot.service import signing_in
from bot.service.signing_in import Attempt, TryAgain
from bot.web.visit import Visit

_FIRST_PAGE = {Role.NURSE: "/", Role.EDUCATOR: "/readiness", Role.ADMINISTRATOR: "/log"}


def sign_in_page(visit: Visit) -> Response:
    """The form."""
    if visit.session is not None:
        return visit.goto(_first_page(visit.account))
    return visit.page("sign_in.html", why=visit.field("why"), wait=None, wanted=_wanted(visit))


def sign_in(visit: Visit) -> Response:
    """Take the form; on success with a new secret, so that nobody can have planted the old one."""
    client = visit.request.client
    attempt = Attempt(
        visit.field("name"), str(visit.form.get("password", "")), client.host if client else "",
        visit.field("code"),
    )  # fmt: skip
    token = visit.site.new_token()
    done = signing_in.sign_in(visit.app.engine, visit.site.passwords, attempt, token, visit.now)
    if isinstance(done, TryAgain):
        why, status = ("wait", 429) if done.after else ("wrong", 401)
        wanted = _wanted(visit)
        return visit.page("sign_in.html", status, why=why, wait=done.after, wanted=wanted)
    visit.token = token
    return visit.goto(_wanted(visit) or _first_page(done))


def stay(visit: Visit) -> Response:
    """Extend the session; sending the form has done it already."""
    if visit.request.headers.get("hx-request"):
        return visit.page("session_part.html")
    return visit.goto(_own_path(visit.field("back")) or "/")


def sign_out(visit: Visit) -> Response:
    """End this browser's session and forget its secret."""
    signing_in.sign_out(visit.app.engine, visit.token, visit.now)
    visit.token = visit.site.new_token()
    return visit.goto("/sign-in", why="out")


def _first_page(account: Account) -> str:
    return next(path for role, path in _FIRST_PAGE.items() if role in account.roles)


def _wanted(visit: Visit) -> str:
    return _own_path(visit.field("next"))


def _own_path(path: str) -> str:
    """The path if it is one of ours: never another host's ("//host", "/\\host")."""
    own = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if own else ""
