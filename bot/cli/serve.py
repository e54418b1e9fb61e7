"""`countdown serve`: scheduler, relay, receiver and the nurse's page, on one store."""

import os
import signal
import socket
import threading
from contextlib import suppress
from enum import StrEnum
from functools import partial
from types import FrameType
from typing import Annotated

import typer
import uvicorn
from starlette.routing import Route

from bot.channels.setup import channels_of, routes_of
from bot.channels.trial import TrialChannel
from bot.cli.crew import Crew
from bot.cli.heart import Heart, people_to_tell
from bot.cli.log_lines import log_as_json
from bot.cli.loops import Ear, Loop, loops_of, stalled
from bot.cli.medicines import medicines_or_stop
from bot.cli.memory import keep_loaded
from bot.cli.opening import open_app, settings_or_stop
from bot.config_sections import Settings, SmppSection
from bot.store import accounts
from bot.store.engine import reading
from bot.store.lease import POLLING, Lease
from bot.store.waking import hears
from bot.web.app import make_app, make_gate
from bot.wiring import App

_PATIENCE = 30.0  # seconds that a message on its way out may take at the end


class Part(StrEnum):
    """What a process does. Any number of processes, on any number of hosts, share one store."""

    ALL = "all"
    WEB = "web"
    SCHEDULER = "scheduler"
    RELAY = "relay"
    RECEIVER = "receiver"


Roles = frozenset[str]
ALL_ROLES: Roles = frozenset(map(str, Part)) - {str(Part.ALL)}
Host = Annotated[str | None, typer.Option(help="Address to listen on; the setting's if left out.")]
Port = Annotated[int | None, typer.Option(help="Port to listen on; the setting's if left out.")]
Role = Annotated[
    list[Part], typer.Option(help="What this process does; give it once for each role.")
]
Processes = Annotated[
    int, typer.Option(min=1, help="How many processes do it; one that dies is replaced.")
]


def serve(
    host: Host = None,
    port: Port = None,
    role: Role = [Part.ALL],  # noqa: B006 - typer copies it
    processes: Processes = 1,
) -> None:
    """Run the service: prompts go out, replies are read, nurses sign in. Ctrl-C ends it cleanly.

    On one machine everything runs in one process. On PostgreSQL any number of processes share the
    work, on any number of hosts; each role must be held by one of them at least:

    * **web** the nurse's page
    * **scheduler** prompts, nudges and escalations whose time has come
    * **relay** sends what is queued, a person's messages always in order
    * **receiver** takes in what people write and what providers report

    Examples:

        countdown serve

        countdown serve --port 8090

        countdown serve --role relay --role scheduler

        countdown serve --processes 4
    """
    log_as_json()
    settings = settings_or_stop()
    chosen = {"host": host or settings.host, "port": port or settings.port}
    settings = settings.model_copy(update=chosen)
    roles = ALL_ROLES if Part.ALL in role else frozenset(map(str, role))
    if processes > 1:
        _may_be_several(settings, roles)
    medicines_or_stop()
    app = open_app(settings)
    keep_loaded()
    place = _listen(settings) if roles & {"web", "receiver"} else None
    if "web" in roles:
        _say_where(app, settings)
    if processes == 1:
        _work(app, settings, roles, place)
    else:
        app.engine.dispose()  # no connection may be used on both sides of a fork
        work = partial(_work, app, settings, roles, place, os.getpid())
        Crew(processes, work, _PATIENCE + 15).run()
    typer.echo("Ended.")


def _may_be_several(settings: Settings, roles: Roles) -> None:
    if settings.database.startswith("sqlite"):
        typer.echo(
            "SQLite serves one process. For --processes set COUNTDOWN_DATABASE to a", err=True
        )
        typer.echo("PostgreSQL address; docs/running.md, section 9, says how to move.", err=True)
        raise typer.Exit(2)
    if isinstance(settings.sms, SmppSection) and "relay" in roles:
        typer.echo(
            "An SMPP link belongs to one process, with a spool file of its own. Start each",
            err=True,
        )
        typer.echo(
            "relay by itself with --role relay, and the other roles with --processes.", err=True
        )
        raise typer.Exit(2)


def _listen(settings: Settings) -> socket.socket:
    """The socket that all processes of this command take requests from."""
    config = uvicorn.Config("", host=settings.host, port=settings.port, log_level="warning")
    return config.bind_socket()


def _work(
    app: App,
    settings: Settings,
    roles: Roles,
    place: socket.socket | None,
    parent: int | None = None,
) -> None:
    """What one process does until it is told to end."""
    lease = Lease(app.engine, POLLING)
    routes = _connect(app, settings, roles, lease)
    loops = loops_of(app, roles)
    heart = Heart(app, roles, loops, people_to_tell(settings, app), parent)
    beats, ear = heart.begin(), Ear(app.engine, loops)
    _start(app, [beats, *loops], ear)
    try:
        if place is not None and ("web" in roles or routes):
            _serve_web(app, settings, roles, routes, loops, place)
        else:
            typer.echo(f"Running as {', '.join(sorted(roles))}. Ctrl-C ends it.")
            _wait_for_the_end()
    finally:
        ear.stop()
        _end(app, [*loops, beats])
        lease.give_back()
        heart.end()
        app.engine.dispose()


def _start(app: App, loops: list[Loop], ear: Ear) -> None:
    for loop in loops:
        loop.start()
    if hears(app.engine) and len(loops) > 1:
        ear.start()


def _connect(app: App, settings: Settings, roles: Roles, lease: Lease) -> list[Route]:
    """Start the channels that this process needs; return the routes of those with webhooks.

    A relay sends by all of them; a receiver takes in what webhooks and polling bring. Polling is
    for one receiver at a time: the others stand by.
    """
    sends, receives = "relay" in roles, "receiver" in roles
    if sends:
        app.connect(TrialChannel())
    if not (sends or receives):
        return []
    channels = channels_of(settings, app.clock, sends=sends, receives=receives, may_poll=lease.held)
    for channel in channels:
        app.connect(channel)
    return routes_of(settings, channels) if receives else []


def _serve_web(
    app: App,
    settings: Settings,
    roles: Roles,
    routes: list[Route],
    loops: list[Loop],
    place: socket.socket,
) -> None:
    late = stalled(loops, app.clock)
    if "web" in roles:
        web = make_app(app, settings, webhooks=routes, stalled=late)
    else:
        web = make_gate(app, routes, late)
    config = uvicorn.Config(
        web,
        log_config=None,  # its lines go where ours go
        log_level="warning",
        access_log=False,  # the audit log says who saw what; an address in a log says too much
        server_header=False,
        proxy_headers=settings.public_url is not None,  # only then a proxy stands before it
        timeout_graceful_shutdown=10,
    )
    signal.signal(signal.SIGTERM, _as_ctrl_c)
    with suppress(KeyboardInterrupt):  # the server ends first, then raises the signal again
        uvicorn.Server(config).run(sockets=[place])


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
    """Let each loop finish what it does, then close the channels."""
    late = [loop.name for loop in loops if not loop.stop(_PATIENCE)]
    for channel in app.channels.values():
        channel.close()
    if late:
        typer.echo(f"Did not finish in time: {', '.join(late)}. Nothing is lost.", err=True)
