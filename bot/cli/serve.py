"""`countdown serve`: scheduler, relay, channels and the nurse's page, on one store."""

import signal
import threading
from contextlib import suppress
from enum import StrEnum
from types import FrameType
from typing import Annotated

import typer
import uvicorn
from starlette.routing import Route

from bot.channels.base import Channel
from bot.channels.setup import channels_of, routes_of
from bot.channels.trial import TrialChannel
from bot.cli.log_lines import log_as_json
from bot.cli.loops import Loop, loops_of, stalled
from bot.cli.opening import open_app, settings_or_stop
from bot.config_sections import Settings
from bot.store import accounts
from bot.store.engine import reading
from bot.web.app import make_app
from bot.wiring import App

_PATIENCE = 30.0  # seconds that a message on its way out may take at the end


class Part(StrEnum):
    """What this process does. Several processes may share one store."""

    ALL = "all"
    SCHEDULER = "scheduler"
    RELAY = "relay"
    WEB = "web"


Host = Annotated[str | None, typer.Option(help="Address to listen on; the setting's if left out.")]
Port = Annotated[int | None, typer.Option(help="Port to listen on; the setting's if left out.")]
Role = Annotated[Part, typer.Option(help="What this process does.")]


def serve(host: Host = None, port: Port = None, role: Role = Part.ALL) -> None:
    """Run the service: prompts go out, replies are read, nurses sign in. Ctrl-C ends it cleanly.

    On one machine everything runs in one process. On PostgreSQL several may share the work, such
    as two with --role web and two with --role relay.

    Examples:

        countdown serve

        countdown serve --port 8090

        countdown serve --role relay
    """
    log_as_json()
    settings = settings_or_stop()
    chosen = {"host": host or settings.host, "port": port or settings.port}
    settings = settings.model_copy(update=chosen)
    app = open_app(settings)
    roles = frozenset(map(str, Part)) if role is Part.ALL else frozenset({str(role)})
    routes = _connect(app, settings, roles)
    loops = loops_of(app, roles)
    for loop in loops:
        loop.start()
    try:
        if "web" in roles:
            _serve_web(app, settings, routes, loops)
        else:
            typer.echo(f"Running as {role}. Ctrl-C ends it.")
            _wait_for_the_end()
    finally:
        _end(app, loops)


def _connect(app: App, settings: Settings, roles: frozenset[str]) -> list[Route]:
    """Start the channels that this process needs; return the routes of those with webhooks.

    The relay sends by all of them. A process that only serves the page takes what webhooks bring,
    and leaves polling and lasting connections to the relay, for they must exist once.
    """
    channels = channels_of(settings, app.clock)
    if "relay" in roles:
        app.connect(TrialChannel())
        needed: list[Channel] = channels
    else:
        needed = [c for c in channels if routes_of(settings, [c])] if "web" in roles else []
    for channel in needed:
        app.connect(channel)
    return routes_of(settings, needed)


def _serve_web(app: App, settings: Settings, routes: list[Route], loops: list[Loop]) -> None:
    web = make_app(app, settings, webhooks=routes, stalled=stalled(loops, app.clock))
    _say_where(app, settings)
    config = uvicorn.Config(
        web,
        host=settings.host,
        port=settings.port,
        log_config=None,  # its lines go where ours go
        log_level="warning",
        access_log=False,  # the audit log says who saw what; an address in a log says too much
        server_header=False,
        proxy_headers=settings.public_url is not None,  # only then a proxy stands before it
        timeout_graceful_shutdown=10,
    )
    signal.signal(signal.SIGTERM, _as_ctrl_c)
    with suppress(KeyboardInterrupt):  # the server ends first, then raises the signal again
        uvicorn.Server(config).run()


def _as_ctrl_c(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _say_where(app: App, settings: Settings) -> None:
    place = settings.public_url or f"http://{settings.host}:{settings.port}"
    typer.echo(f"Nurse's page: {place}/sign-in")
    with reading(app.engine) as connection:
        anyone = accounts.accounts(connection)
    if not anyone:
        typer.echo("Nobody can sign in yet. Make the first accounts, in another terminal:")
        typer.echo('  .venv/bin/countdown accounts add "Your Name" --role nurse')
        typer.echo('  .venv/bin/countdown accounts add "Your Name" --role administrator')
    real = sorted(name for name in app.channels if name != TrialChannel.name)
    if not real:
        typer.echo("No channel is set up: messages to real phones will be listed as undelivered.")
        typer.echo(
            "  docs/running.md says how to set one up; .venv/bin/countdown doctor checks it."
        )
    else:
        typer.echo(f"Channels: {', '.join(real)}")
    if settings.host not in ("127.0.0.1", "localhost", "::1") and not settings.public_url:
        typer.echo("Passwords would cross the network in the clear: put a proxy with TLS before")
        typer.echo("this address and set COUNTDOWN_PUBLIC_URL to the https address.")
    typer.echo("Ctrl-C ends it.")


def _wait_for_the_end() -> None:
    done = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        done.set()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    done.wait()


def _end(app: App, loops: list[Loop]) -> None:
    """Let each loop finish what it does, then close channels and database."""
    late = [loop.name for loop in loops if not loop.stop(_PATIENCE)]
    app.close()
    if late:
        typer.echo(f"Did not finish in time: {', '.join(late)}. Nothing is lost.", err=True)
    typer.echo("Ended.")
