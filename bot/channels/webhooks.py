"""The HTTP routes by which providers reach us. The web application mounts what `routes` returns.

Each answers 200 only once the event is stored, so that a provider whose event was lost gives it
again. Nothing of a body is ever logged or sent back.
"""

import json
import logging
from collections.abc import Callable, Sequence
from functools import partial
from typing import Protocol

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from bot.channels.http_sms import Refused
from bot.channels.http_template import WebhookCall
from bot.channels.signing import known
from bot.channels.telegram_client import WEBHOOK_PATH

log = logging.getLogger(__name__)
LARGEST = 64 * 1024  # octets; a text message with all its wrapping is far below
SECRET_HEADER = "x-telegram-bot-api-secret-token"  # noqa: S105 - a header's name
MESSAGE_PATH, STATUS_PATH = "/channels/sms/message", "/channels/sms/status"


class TakesUpdates(Protocol):
    """The Telegram adapter, as its route needs it."""

    def receive(self, update: dict[str, object]) -> None:
        """Takes one update; returns once it is stored."""
        ...


class TakesCalls(Protocol):
    """The HTTP SMS adapter, as its routes need it."""

    def take_message(self, call: WebhookCall) -> bool:
        """A message; False if it was a repeat."""
        ...

    def take_status(self, call: WebhookCall) -> bool:
        """A delivery status; False if it was a repeat."""
        ...


def telegram_routes(channel: TakesUpdates, secrets: Sequence[str]) -> list[Route]:
    """The route of Telegram's webhook. `secrets`: those live now, the registered one first."""
    handler = partial(_telegram, channel, tuple(secrets))
    return [Route(WEBHOOK_PATH, handler, methods=["POST"])]


def sms_routes(channel: TakesCalls) -> list[Route]:
    """The routes of an HTTP gateway: one for messages, one for delivery statuses."""
    return [
        Route(MESSAGE_PATH, partial(_sms, channel.take_message), methods=["GET", "POST"]),
        Route(STATUS_PATH, partial(_sms, channel.take_status), methods=["GET", "POST"]),
    ]


async def _telegram(channel: TakesUpdates, secrets: tuple[str, ...], request: Request) -> Response:
    if not known(secrets, request.headers.get(SECRET_HEADER, "")):
        return _answer(403, "refused")
    body = await _body(request)
    if body is None:
        return _answer(413, "too large")
    try:
        update = json.loads(body)
    except (ValueError, RecursionError):
        return _answer(400, "unreadable")
    if not isinstance(update, dict):
        return _answer(400, "unreadable")
    return await _stored(lambda: channel.receive(update))


async def _sms(take: Callable[[WebhookCall], bool], request: Request) -> Response:
    body = await _body(request)
    if body is None:
        return _answer(413, "too large")
    call = WebhookCall(dict(request.headers), dict(request.query_params), body)
    return await _stored(lambda: take(call))


async def _stored(take: Callable[[], bool | None]) -> Response:
    """Runs the blocking part in a worker thread and turns its end into an answer."""
    try:
        fresh = await run_in_threadpool(take)
    except Refused as refused:
        log.warning("webhook refused: %s", refused)
        return _answer(refused.status, "refused")
    except Exception as error:  # not stored, whatever the cause: the provider must repeat it
        log.error("webhook not stored: %s", type(error).__name__)
        return _answer(500, "not stored")
    return _answer(200, "repeat" if fresh is False else "stored")


async def _body(request: Request) -> bytes | None:
    """The raw body, or None if it is larger than any honest one."""
    chunks = bytearray()
    async for chunk in request.stream():
        chunks += chunk
        if len(chunks) > LARGEST:
            return None
    return bytes(chunks)


def _answer(status: int, word: str) -> Response:
    return JSONResponse({"result": word}, status)
