"""One rig per channel: the adapter, its peer, and the hands to move the phone and the faults.

The contract tests run over every rig; what a rig does to play a fault is the peer's affair.
"""

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Protocol

import httpx
from peer_process import PeerProcess, free_port, until

from bot.channels.base import (
    Channel,
    Delivery,
    DeliveryState,
    Incoming,
    Outgoing,
    SendFailed,
    SendUnknown,
)
from bot.channels.recording import RecordingChannel
from bot.channels.smpp import SmppChannel
from bot.channels.smpp_client import SmppSettings
from bot.channels.telegram import TelegramChannel
from bot.channels.telegram_client import TelegramSettings

PHONE = "+12025550123"
CLINIC = "+12025550100"


def now() -> datetime:
    """The real time: peers run on it."""
    return datetime.now(UTC)


class Service:
    """Stands for the service: keeps each message once, can fail to store."""

    def __init__(self) -> None:
        self.messages: dict[str, Incoming] = {}
        self.calls: list[Incoming] = []
        self.deliveries: list[Delivery] = []
        self.fail_times = 0
        self._lock = threading.Lock()

    def on_incoming(self, incoming: Incoming) -> None:
        with self._lock:
            self.calls.append(incoming)
            if self.fail_times:
                self.fail_times -= 1
                raise OSError("the database is away")
            self.messages.setdefault(incoming.message_id, incoming)

    def on_delivery(self, delivery: Delivery) -> None:
        with self._lock:
            self.deliveries.append(delivery)

    def texts(self) -> list[str]:
        return [message.text for message in self.messages.values()]


class Rig(Protocol):
    """What the contract tests need of a channel and its peer."""

    channel: Channel
    service: Service
    address: str

    def on_phone(self) -> list[str]:
        """Texts that reached the phone, in order."""
        ...

    def says(self, text: str) -> None:
        """The patient writes."""
        ...

    def refuse_for_good(self) -> None:
        """The next send is refused for good."""
        ...

    def throttle(self) -> float:
        """The next send is throttled; the wait asked for, in seconds."""
        ...

    def lose_answer(self) -> None:
        """The next message is taken but the answer never comes."""
        ...

    def close(self) -> None:
        """Ends channel and peer."""
        ...


class RecordingRig:
    """The shipped fake, held to the same contract."""

    def __init__(self) -> None:
        self.service = Service()
        self.channel = RecordingChannel(now)
        self.channel.start(self.service.on_incoming, self.service.on_delivery)
        self.address = PHONE

    def on_phone(self) -> list[str]:
        return self.channel.texts_to(self.address)

    def says(self, text: str) -> None:
        try:
            sent = self.channel.receive(self.address, text)
        except OSError:
            sent = self.service.calls[-1]
            self.channel.receive(self.address, text, message_id=sent.message_id)

    def refuse_for_good(self) -> None:
        self.channel.fail_next(SendFailed("blocked", permanent=True))

    def throttle(self) -> float:
        self.channel.fail_next(SendFailed("slow down", permanent=False, retry_after=2.0))
        return 2.0

    def lose_answer(self) -> None:
        self.channel.fail_next(SendUnknown("no answer"))

    def receipt(self, send: Callable[[], str]) -> None:
        self.channel.report(send(), DeliveryState.DELIVERED)

    def close(self) -> None:
        self.channel.close()


class TelegramRig:
    """The Telegram adapter, polling, against a Bot API server written by others."""

    token = "7:test-token"
    chat = 4711

    def __init__(self, node: str, **settings: Any) -> None:
        port = free_port()
        self.api = f"http://127.0.0.1:{port}"
        self.peer = PeerProcess([node, "telegram.js", str(port)])
        self.peer.wait_ready()
        self.user = httpx.Client(base_url=self.api, timeout=10)
        self.service = Service()
        self.settings = TelegramSettings(
            token=self.token, api=self.api, poll_seconds=1, longest_pause=0.2,
            **({"answer_within": 3.0} | settings),
        )  # fmt: skip
        self.channel = self.new_channel()
        self.address = str(self.chat)

    def new_channel(self) -> TelegramChannel:
        channel = TelegramChannel(self.settings, now)
        channel.start(self.service.on_incoming, self.service.on_delivery)
        until("the bot is connected", lambda: channel.trouble() is None)
        return channel

    def history(self) -> list[dict[str, Any]]:
        kept = self.user.post("/getUpdatesHistory", json={"token": self.token}).json()["result"]
        return [m for m in kept if "chat_id" in m.get("message", {})]

    def on_phone(self) -> list[str]:
        mine = [m for m in self.history() if str(m["message"]["chat_id"]) == self.address]
        return [m["message"]["text"] for m in mine]

    def says(self, text: str) -> None:
        self.user.post("/sendMessage", json=self._from_user(text=text)).raise_for_status()

    def command(self, text: str) -> None:
        entity = {"offset": 0, "length": len(text.split()[0]), "type": "bot_command"}
        body = self._from_user(text=text, entities=[entity])
        self.user.post("/sendCommand", json=body).raise_for_status()

    def press(self, label: str) -> None:
        """Presses the newest button that bears `label`."""
        for kept in reversed(self.history()):
            rows = kept["message"].get("reply_markup", {}).get("inline_keyboard", [])
            for button in (button for row in rows for button in row):
                if button["text"] == label:
                    self._press(kept, button["callback_data"])
                    return
        raise AssertionError(f"no button {label!r} on the phone")

    def _press(self, kept: dict[str, Any], data: str) -> None:
        message = {
            "message_id": kept["messageId"], "date": 1764061200, "chat": self._chat(),
            "text": kept["message"]["text"], "reply_markup": kept["message"]["reply_markup"],
        }  # fmt: skip
        body = self._from_user(data=data, message=message)
        self.user.post("/sendCallback", json=body).raise_for_status()

    def _chat(self) -> dict[str, Any]:
        return {"id": self.chat, "type": "private", "first_name": "Pat"}

    def _from_user(self, **more: Any) -> dict[str, Any]:
        person = {"id": self.chat, "is_bot": False, "first_name": "Pat"}
        return {
            "botToken": self.token, "from": person, "chat": self._chat(), "date": 1764061200, **more
        }  # fmt: skip

    def fault(self, **fault: Any) -> None:
        self.user.post("/_fault", json=fault).raise_for_status()

    def refuse_for_good(self) -> None:
        text = "Forbidden: bot was blocked by the user"
        self.fault(method="sendMessage", error_code=403, description=text)

    def throttle(self) -> float:
        self.fault(
            method="sendMessage", error_code=429, description="Too Many Requests: retry after 3",
            parameters={"retry_after": 3},
        )  # fmt: skip
        return 3.0

    def lose_answer(self) -> None:
        self.fault(method="sendMessage", drop=1)

    def close(self) -> None:
        self.channel.close()
        self.user.close()
        self.peer.stop()


class SmppRig:
    """The SMPP adapter against an SMSC on npm smpp."""

    def __init__(self, node: str, **settings: Any) -> None:
        self.port = free_port()
        self.peer = PeerProcess([node, "smsc.js", str(self.port), "secret"])
        self.peer.wait_ready()
        self.service = Service()
        self.settings = SmppSettings(
            host="127.0.0.1", port=self.port, system_id="coach", sender=CLINIC.lstrip("+"),
            **(
                {"password": "secret", "answer_within": 0.8, "first_pause": 0.05,
                 "throttle_wait": 0.2, "per_second": 1000.0} | settings
            ),
        )  # fmt: skip
        self.channel = SmppChannel(self.settings, now)
        self.channel.start(self.service.on_incoming, self.service.on_delivery)
        self.address = PHONE
        if self.settings.password == "secret":
            until("the link is bound", lambda: self.channel.trouble() is None)

    def on_phone(self) -> list[str]:
        self.peer.tell()  # its answer comes after all that it told before
        return [kept["text"] for kept in self.peer.seen("submit") if kept["taken"]]

    def says(self, text: str) -> None:
        self.peer.tell(mo={"from": PHONE.lstrip("+"), "to": CLINIC.lstrip("+"), "text": text})

    def says_in_parts(self, parts: list[str], **more: Any) -> None:
        mo = {"from": PHONE.lstrip("+"), "to": CLINIC.lstrip("+"), "parts": parts, **more}
        self.peer.tell(mo=mo)

    def refuse_for_good(self) -> None:
        self.peer.tell(plan=[{"status": 0x0B}])

    def throttle(self) -> float:
        self.peer.tell(plan=["throttle"])
        return self.settings.throttle_wait

    def lose_answer(self) -> None:
        self.peer.tell(plan=["silent"])

    def close(self) -> None:
        self.channel.close()
        self.peer.stop()


def message(text: str, address: str, choices: tuple[str, ...] = (), key: str = "k1") -> Outgoing:
    """An outgoing message in few words."""
    return Outgoing(key, address, text, choices)
