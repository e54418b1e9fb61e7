"""Real channels spliced into a story: every message of it crosses an adapter and its peer.

`Carried` stands where the story keeps its phones. What the story sends goes out through the
adapter and is read again from the peer's own record, as the phone has it; what a person writes is
typed at the peer and comes back in through the adapter.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from http_peers import HttpRig
from peer_process import until
from rigs import CLINIC, SmppRig, TelegramRig

from bot.channels.base import Incoming, Outgoing, Sent
from bot.play.phones import Phones, Slip


@dataclass(frozen=True, slots=True)
class Got:
    """One message as the phone has it, whatever form it came in."""

    address: str
    text: str
    choices: tuple[str, ...]


def by_numbers(address: str, shown: str) -> Got:
    """Takes the lines "1 ...", "2 ..." at the end of a text for the choices."""
    lines = shown.split("\n")
    for count in range(9, 0, -1):
        tail = lines[-count:] if count < len(lines) else []
        if tail and all(line.startswith(f"{n} ") for n, line in enumerate(tail, start=1)):
            choices = tuple(line.split(" ", 1)[1] for line in tail)
            return Got(address, "\n".join(lines[:-count]), choices)
    return Got(address, shown, ())


class Carrier(Protocol):
    """One channel with its peer."""

    def send(self, outgoing: Outgoing) -> Sent: ...

    def type(self, address: str, text: str) -> Incoming: ...

    def got(self) -> list[Got]: ...

    def close(self) -> None: ...


class Carried(Phones):
    """The story's phones, reached through a carrier."""

    def __init__(self, path: Path, carrier: Carrier) -> None:
        super().__init__(path)
        self._carrier = carrier
        self._carried: set[str] = set()

    def send(self, outgoing: Outgoing) -> Sent:
        if outgoing.key not in self._carried:
            self._carried.add(outgoing.key)
            self._carrier.send(outgoing)
        return super().send(outgoing)

    def write(self, key: str, address: str, text: str) -> Slip:
        if key in self._carried:
            return super().write(key, address, text)
        self._carried.add(key)
        incoming = self._carrier.type(address, text)
        return super().write(key, address, incoming.text)


class TelegramCarrier:
    """Each address is a chat of its own."""

    def __init__(self, node: str) -> None:
        self._rig = TelegramRig(node)
        self._addresses: dict[str, str] = {}

    def _chat(self, address: str) -> str:
        chat = address.lstrip("+")
        self._addresses[chat] = address
        return chat

    def send(self, outgoing: Outgoing) -> Sent:
        return self._rig.channel.send(replace(outgoing, address=self._chat(outgoing.address)))

    def type(self, address: str, text: str) -> Incoming:
        self._rig.chat = int(self._chat(address))
        before = len(self._rig.service.messages)
        self._rig.says(text)
        until("the reply is in", lambda: len(self._rig.service.messages) > before)
        incoming = list(self._rig.service.messages.values())[-1]
        assert self._addresses[incoming.address] == address
        return incoming

    def got(self) -> list[Got]:
        found = []
        for kept in self._rig.history():
            message = kept["message"]
            rows = message.get("reply_markup", {}).get("inline_keyboard", [])
            choices = tuple(button["text"] for row in rows for button in row)
            found.append(Got(self._addresses[str(message["chat_id"])], message["text"], choices))
        return found

    def close(self) -> None:
        self._rig.close()


class SmppCarrier:
    """Parts are joined as a phone joins them."""

    def __init__(self, node: str) -> None:
        self._rig = SmppRig(node)

    def send(self, outgoing: Outgoing) -> Sent:
        return self._rig.channel.send(outgoing)

    def type(self, address: str, text: str) -> Incoming:
        before = len(self._rig.service.messages)
        mo = {"from": address.lstrip("+"), "to": CLINIC.lstrip("+"), "text": text}
        self._rig.peer.tell(mo=mo)
        until("the reply is in", lambda: len(self._rig.service.messages) > before)
        incoming = list(self._rig.service.messages.values())[-1]
        assert incoming.address == address
        return incoming

    def got(self) -> list[Got]:
        self._rig.peer.tell()  # its answer comes after all that it told before
        found, text = [], ""
        for part in self._rig.peer.seen("submit"):
            header = bytes.fromhex(part["udh"])
            text += part["text"]
            if not header or header[-1] == header[-2]:
                found.append(by_numbers(f"+{part['to']}", text))
                text = ""
        return found

    def close(self) -> None:
        self._rig.close()


class HttpCarrier:
    """A stub gateway with signed calls to us."""

    def __init__(self) -> None:
        self._rig = HttpRig()

    def send(self, outgoing: Outgoing) -> Sent:
        return self._rig.channel.send(outgoing)

    def type(self, address: str, text: str) -> Incoming:
        self._rig.address = address
        before = len(self._rig.service.messages)
        self._rig.says(text)
        assert len(self._rig.service.messages) == before + 1
        return list(self._rig.service.messages.values())[-1]

    def got(self) -> list[Got]:
        return [by_numbers(kept["recipient"], kept["body"]) for kept in self._rig.gateway.taken]

    def close(self) -> None:
        self._rig.close()
