"""Makes the web application from the route table.

    make_app(wiring.build(url), settings)

Every page of `routes.TABLE` is behind `guard.guarded`; the channels' webhooks and what
monitoring asks (`watch`) are the only routes beside it, and they are given here by name.
"""

import logging
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from bot.config_sections import Settings
from bot.service.signing_in import Passwords
from bot.web import watch
from bot.web.guard import begin, guarded
from bot.web.headers import SecurityHeaders
from bot.web.pages import page_environment
from bot.web.routes import TABLE
from bot.web.visit import Site
from bot.wiring import App, new_secret

log = logging.getLogger(__name__)
OnError = Callable[[Request, Exception], Awaitable[Response]]
STATIC = Path(__file__).parent / "static"


def make_app(
    app: App,
    settings: Settings,
    *,
    webhooks: Sequence[BaseRoute] = (),
    passwords: Passwords | None = None,
    stalled: Callable[[], list[str]] = list,
) -> Starlette:
    """The nurse's page on a service. `webhooks` are the channels' own routes; `stalled` names the
    loops beside the page that have not come round for too long, for the health check."""
    site = Site(
        app,
        page_environment(_titles(app)),
        passwords or Passwords(),
        new_secret,
        settings.public_url,
    )
    pages = [Route(line.path, guarded(site, line), methods=[line.method]) for line in TABLE]
    fixed = Mount("/static", StaticFiles(directory=STATIC), name="static")
    made = Starlette(
        routes=[
            *pages,
            *webhooks,
            fixed,
            Route("/healthz", watch.health(app, stalled), methods=["GET"]),
            Route("/metrics", watch.metrics(app, settings), methods=["GET"]),
        ],
        middleware=[Middleware(SecurityHeaders, secure=site.secure)],
        exception_handlers={HTTPException: _missing(site), LookupError: _missing(site)},
    )
    made.add_exception_handler(Exception, _broken(site))
    return made


def make_gate(
    app: App, webhooks: Sequence[BaseRoute], stalled: Callable[[], list[str]] = list
) -> Starlette:
    """Only the channels' webhooks and the health check: what the internet may reach."""
    health = Route("/healthz", watch.health(app, stalled), methods=["GET"])
    return Starlette(routes=[*webhooks, health])


def _titles(app: App) -> tuple[tuple[str, str], ...]:
    return tuple((name, reason.title) for name, reason in app.practice.book.reasons.items())


def _missing(site: Site) -> OnError:
    async def missing(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 404
        return await run_in_threadpool(_error_page, site, request, status)

    return missing


def _broken(site: Site) -> OnError:
    async def broken(request: Request, error: Exception) -> Response:
        log.error("page failed: %s", type(error).__name__)  # never its text: it may quote a patient
        return await run_in_threadpool(_error_page, site, request, 500)

    return broken


def _error_page(site: Site, request: Request, status: int) -> Response:
    return begin(site, request, touch=False).page("missing.html", status, code=status)
