"""Stands before every page: who is it, may they, and does the form come from our own page?"""

import hmac
from collections.abc import Awaitable, Callable
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from bot.service import signing_in
from bot.web.access import Line
from bot.web.visit import Site, Visit

Endpoint = Callable[[Request], Awaitable[Response]]


class TooLarge(Exception):
    """The body is larger than any honest form."""


def guarded(site: Site, line: Line) -> Endpoint:
    """The handler of one line of the route table, behind every check that it needs.

    1. Whose session is it; 2. nobody's: to the sign-in page; 3. another role: 403; 4. a form from
    elsewhere or without its token: 403, before anything is done; 5. the handler, in a thread.
    """

    async def answer(request: Request) -> Response:
        try:
            form = await _form(request, line)
        except TooLarge:
            return Response("Too large.", 413)
        return await run_in_threadpool(_answer, site, line, request, form)

    return answer


def _answer(site: Site, line: Line, request: Request, form: FormData) -> Response:
    visit = begin(site, request, touch=not line.live)
    visit.form = form
    refused = _refused(visit, line)
    response = refused or line.handler(visit)
    _keep_token(visit, response)
    return response


def begin(site: Site, request: Request, *, touch: bool) -> Visit:
    """Find out who it is. A browser without a secret gets one, for the sign-in form's token."""
    now = site.app.clock()
    token = request.cookies.get(site.cookie, "")
    session = None
    if token:
        session = signing_in.session(site.app.engine, token, now, touch=touch)
    return Visit(site, request, now, token or site.new_token(), session)


def _refused(visit: Visit, line: Line) -> Response | None:
    if not line.open and visit.session is None:
        return _to_sign_in(visit, line)
    if not line.open and visit.session and not (visit.session.account.roles & line.roles):
        return visit.page("refused.html", 403, why="role")
    if line.unsafe and not (_own_origin(visit) and _own_token(visit)):
        return visit.page("refused.html", 403, why="form")
    return None


def _to_sign_in(visit: Visit, line: Line) -> Response:
    """A page that refreshes itself gets a bare 401: it then says that it has stopped."""
    if line.live:
        return Response(status_code=401)
    if line.unsafe:
        return RedirectResponse("/sign-in?why=ended", 303)
    url = visit.request.url
    wanted = url.path + (f"?{url.query}" if url.query else "")
    return RedirectResponse(f"/sign-in?next={quote(wanted, safe='')}", 303)


def _own_origin(visit: Visit) -> bool:
    """The browser says which page sent the form; it must be ours (ASVS chapter 3).

    Behind a proxy the address is the setting's, never what a header claims.
    """
    headers = visit.request.headers
    origin = headers.get("origin")
    if origin is None:
        return headers.get("sec-fetch-site") == "same-origin"
    own = visit.site.public_url or f"http://{headers.get('host', '')}"
    return _place(origin) == _place(own)


def _place(url: str) -> tuple[str, str]:
    parts = urlsplit(url)
    return parts.scheme, parts.netloc.casefold()


def _own_token(visit: Visit) -> bool:
    given = visit.form.get("token")
    return isinstance(given, str) and hmac.compare_digest(given.encode(), visit.csrf.encode())


async def _form(request: Request, line: Line) -> FormData:
    """The form of an unsafe request, refusing a body that is too large while it comes."""
    if not line.unsafe:
        return FormData()
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > line.largest:
            raise TooLarge
    request._body = bytes(body)  # what `Request.body` keeps: the form is read from it
    try:
        return await request.form(max_files=1, max_fields=200, max_part_size=line.largest)
    except Exception:  # not a form at all: there is no token in it, so the guard refuses it
        return FormData()


def _keep_token(visit: Visit, response: Response) -> None:
    if visit.request.cookies.get(visit.site.cookie) != visit.token:
        response.set_cookie(
            visit.site.cookie,
            visit.token,
            path="/",
            secure=visit.site.secure,
            httponly=True,
            samesite="strict",
        )
