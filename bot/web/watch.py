"""What monitoring asks a running service: is it well, and how much waits. Never about anyone."""

import hmac
import logging
from collections.abc import Callable
from ipaddress import ip_address

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from bot.config_sections import Settings
from bot.service import watching
from bot.service.metrics import exposition
from bot.web.guard import Endpoint
from bot.wiring import App

log = logging.getLogger(__name__)
PROMETHEUS = "text/plain; version=0.0.4; charset=utf-8"


def health(app: App, stalled: Callable[[], list[str]]) -> Endpoint:
    """200 when the database answers and this process works; says nothing about anyone.

    What stands still anywhere is told too, but as 200: a balancer that took every page off the
    network because of it would make things worse.
    """

    def look() -> Response:
        still = sorted(each.role for each in watching.standstills(app.engine, app.clock()))
        late = stalled()
        told = {
            "status": "a loop has stalled" if late else "ok",
            "channels_in_trouble": sorted(n for n, c in app.channels.items() if c.trouble()),
            "stalled": late,
            "standing_still": still,
            "held_by_nobody": watching.missing_roles(app.engine, app.clock()),
        }
        return JSONResponse(told, 503 if late else 200)

    async def answer(_request: Request) -> Response:
        try:
            return await run_in_threadpool(look)
        except Exception as error:  # whatever the cause, the service is not healthy
            log.error("health check failed: %s", type(error).__name__)
            return JSONResponse({"status": "database does not answer"}, 503)

    return answer


def metrics(app: App, settings: Settings) -> Endpoint:
    """The figures for Prometheus, for whoever has the token; without one, for this machine only.

    Behind a proxy every caller may look like this machine, so there a token is needed.
    """
    token = settings.metrics_token.get_secret_value()

    async def answer(request: Request) -> Response:
        if not _may_see(request, token, behind_proxy=settings.public_url is not None):
            return PlainTextResponse("Not found.", 404)  # as if it were not there
        try:
            told = await run_in_threadpool(exposition, app.engine, app.clock())
        except Exception as error:
            log.error("metrics failed: %s", type(error).__name__)
            return PlainTextResponse("The database does not answer.", 503)
        return Response(told, media_type=PROMETHEUS)

    return answer


def _may_see(request: Request, token: str, *, behind_proxy: bool) -> bool:
    if token:
        given = request.headers.get("authorization", "")
        return hmac.compare_digest(given.encode(), f"Bearer {token}".encode())
    return not behind_proxy and _is_this_machine(request)


def _is_this_machine(request: Request) -> bool:
    try:
        return ip_address(request.client.host if request.client else "").is_loopback
    except ValueError:
        return False
