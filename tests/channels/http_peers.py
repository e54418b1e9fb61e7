"""An HTTP gateway as a stub, our own webhook routes served over real HTTP, and the rig of both."""

import json
import threading
from typing import Any

import httpx
import uvicorn
from peer_process import free_port, until
from rigs import CLINIC, PHONE, Service, now
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from bot.channels.base import DeliveryState
from bot.channels.http_sms import HttpSmsChannel
from bot.channels.http_template import Body, HttpSmsSettings, Inbound, WebhookCall
from bot.channels.signing import signature
from bot.channels.webhooks import MESSAGE_PATH, STATUS_PATH, sms_routes

SECRET, OLD_SECRET = "new-webhook-secret", "old-webhook-secret"


class Served:
    """A web application served by a thread of this process."""

    def __init__(self, routes: list[Route], port: int = 0) -> None:
        port = port or free_port()
        config = uvicorn.Config(
            Starlette(routes=routes), host="127.0.0.1", port=port, log_level="critical",
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        self.url = f"http://127.0.0.1:{port}"
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        until("the server is up", lambda: self._server.started)

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(5)


class GatewayStub:
    """Takes messages as a gateway does, and answers as the test planned."""

    def __init__(self) -> None:
        self.empty()
        self.served = Served([Route("/send", self._send, methods=["GET", "POST"])])
        self.url = self.served.url + "/send"

    def empty(self) -> None:
        self.taken: list[dict[str, str]] = []
        self.keys: list[str] = []
        self.plan: list[tuple[int, dict[str, str]]] = []
        self.lose_next = False

    async def _send(self, request: Request) -> Response:
        if request.headers.get("authorization") != "Bearer gateway-secret":
            return Response(status_code=401)
        if self.plan:
            status, headers = self.plan.pop(0)
            return Response(status_code=status, headers=headers)
        fields = json.loads(await request.body())
        self.taken.append(fields)
        self.keys.append(request.headers["idempotency-key"])
        if self.lose_next:
            self.lose_next = False
            return Response(status_code=502)
        return JSONResponse({"messages": [{"id": f"gw-{len(self.taken)}"}]})


def settings_for(url: str, **more: Any) -> HttpSmsSettings:
    """A JSON gateway with signed webhooks, as the configuration file would describe it."""
    return HttpSmsSettings(
        url=url, sender=CLINIC, secret="gateway-secret", body=Body.JSON,
        fields={"recipient": "{to}", "originator": "{from}", "body": "{text}", "ref": "{key}"},
        headers={"Authorization": "Bearer {secret}"}, id_path="messages.0.id",
        inbound=Inbound(id="id", address="from", text="text", status="status", key="ref"),
        statuses={"sent": DeliveryState.SENT, "delivered": DeliveryState.DELIVERED,
                  "failed": DeliveryState.UNDELIVERED},
        webhook_secrets=(SECRET, OLD_SECRET), answer_within=2.0, **more,
    )  # fmt: skip


class HttpRig:
    """The HTTP adapter between a stub gateway and its own webhook routes."""

    def __init__(self) -> None:
        self.gateway = GatewayStub()
        self.address = PHONE
        self._count = 0
        self.renew()
        self.hooks = Served(sms_routes(self))

    def renew(self) -> None:
        """A new channel and service, an empty gateway; the servers stay."""
        self.service = Service()
        self.gateway.empty()
        self.channel = HttpSmsChannel(settings_for(self.gateway.url), now)
        self.channel.start(self.service.on_incoming, self.service.on_delivery)

    def take_message(self, call: WebhookCall) -> bool:
        return self.channel.take_message(call)

    def take_status(self, call: WebhookCall) -> bool:
        return self.channel.take_status(call)

    def on_phone(self) -> list[str]:
        return [fields["body"] for fields in self.gateway.taken]

    def signed(self, body: bytes, secret: str = SECRET, stamp: str = "") -> dict[str, str]:
        stamp = stamp or str(int(now().timestamp()))
        return {
            "content-type": "application/json",
            "x-timestamp": stamp,
            "x-signature": signature(secret, stamp, body),
        }

    def post(self, path: str, body: bytes, headers: dict[str, str]) -> httpx.Response:
        return httpx.post(self.hooks.url + path, content=body, headers=headers, timeout=5)

    def says(self, text: str) -> None:
        self._count += 1
        fields = {"id": f"mo-{self._count}", "from": self.address, "text": text}
        body = json.dumps(fields).encode()
        for _attempt in range(5):  # as gateways do until they get a 2xx
            if self.post(MESSAGE_PATH, body, self.signed(body)).status_code == 200:
                return

    def status(self, **fields: str) -> httpx.Response:
        body = json.dumps(fields).encode()
        return self.post(STATUS_PATH, body, self.signed(body))

    def refuse_for_good(self) -> None:
        self.gateway.plan.append((422, {}))

    def throttle(self) -> float:
        self.gateway.plan.append((429, {"Retry-After": "7"}))
        return 7.0

    def lose_answer(self) -> None:
        self.gateway.lose_next = True

    def close(self) -> None:
        self.channel.close()
        self.hooks.stop()
        self.gateway.served.stop()
