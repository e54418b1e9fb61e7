"""The template that describes one SMS gateway's HTTP interface, and the reading of it. Pure.

Gateways differ in names only: which URL, which fields, where the id is. So they are described by
data, in the configuration file, and one adapter serves them all.
"""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from urllib.parse import parse_qsl

from bot.channels.base import DeliveryState, Outgoing
from bot.core.segments import Alphabet, alphabet_of

DEPTH = 8  # of nesting in a JSON body; ours is flat


class Body(StrEnum):
    """How the fields of an outgoing message travel."""

    FORM = "form"
    JSON = "json"
    QUERY = "query"


@dataclass(frozen=True, slots=True)
class Inbound:
    """Where a webhook of the gateway has its fields. Dots step into JSON: "message.id"."""

    id: str = "id"
    address: str = "from"
    text: str = "text"
    status: str = "status"
    key: str = ""  # our own id, given back in a status as {key} was sent
    coded_key: str = ""  # the same, sent as {key_coded}


@dataclass(frozen=True, slots=True)
class HttpSmsSettings:
    """One gateway. `fields` and `headers` may use {to} (+1...), {to_digits}, {from}, {text},
    {key} (our id), {key_coded} (the same in letters that any URL bears), {coding} (0 for GSM-7,
    2 for UCS-2), {user} and {secret}.

    Without `webhook_secrets` no webhook is taken. `signed` False means that the gateway cannot
    sign: then its webhooks carry a live secret in the query field "token".
    """

    url: str
    sender: str
    fields: Mapping[str, str]
    user: str = ""
    secret: str = field(default="", repr=False)
    method: str = "POST"
    body: Body = Body.FORM
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    id_path: str = ""  # where the answer has the gateway's id; empty: it gives none, ours is used
    inbound: Inbound = Inbound()
    statuses: Mapping[str, DeliveryState] = field(default_factory=dict)
    webhook_secrets: tuple[str, ...] = field(default=(), repr=False)
    signed: bool = True
    stamp_header: str = "X-Timestamp"
    signature_header: str = "X-Signature"
    answer_within: float = 15.0


@dataclass(frozen=True, slots=True)
class WebhookCall:
    """One request of the gateway to us, undecoded. Header names in small letters."""

    headers: Mapping[str, str]
    query: Mapping[str, str]
    body: bytes


def filled(template: Mapping[str, str], values: Mapping[str, str]) -> dict[str, str]:
    """The template with its placeholders filled. Values are not looked into for further ones."""
    return {name: _fill(text, values) for name, text in template.items()}


def _fill(text: str, values: Mapping[str, str]) -> str:
    pieces = text.split("{")
    out = [pieces[0]]
    for piece in pieces[1:]:
        name, brace, rest = piece.partition("}")
        known = brace and name in values
        out.append(values[name] + rest if known else "{" + piece)
    return "".join(out)


def values_of(settings: HttpSmsSettings, outgoing: Outgoing, text: str) -> dict[str, str]:
    """What the placeholders stand for in one message."""
    return {
        "to": outgoing.address,
        "to_digits": outgoing.address.lstrip("+"),
        "from": settings.sender,
        "text": text,
        "coding": "0" if alphabet_of(text) is Alphabet.GSM7 else "2",
        "key": outgoing.key,
        "key_coded": coded(outgoing.key),
        "secret": settings.secret,
        "user": settings.user,
    }


def coded(key: str) -> str:
    """Our id in the letters of base64url: some gateways expand % signs in a status URL."""
    return urlsafe_b64encode(key.encode()).decode().rstrip("=")


def our_key(where: Inbound, fields: object) -> str:
    """Our id out of a status, or "" if it has none. Raises ValueError if it is garbled."""
    given = pick(fields, where.coded_key)
    if where.coded_key and given:
        return urlsafe_b64decode(given + "=" * (-len(given) % 4)).decode()
    return pick(fields, where.key)


def read_fields(call: WebhookCall) -> object:
    """The decoded fields: JSON, a web form, or the query. Raises ValueError if unreadable."""
    kind = call.headers.get("content-type", "").partition(";")[0].strip().lower()
    if not call.body:
        return dict(call.query)
    if kind == "application/json":
        decoded = json.loads(call.body)
        if _depth(decoded) > DEPTH:
            raise ValueError("the JSON is nested too deeply")
        return decoded
    return dict(parse_qsl(call.body.decode("utf-8"), keep_blank_values=True))


def _depth(value: object) -> int:
    if isinstance(value, dict):
        return 1 + max(map(_depth, value.values()), default=0)
    if isinstance(value, list):
        return 1 + max(map(_depth, value), default=0)
    return 0


def pick(fields: object, path: str) -> str:
    """The value at a dotted path as text; "" if there is none. A number steps into a list."""
    if not path:
        return ""
    for step in path.split("."):
        if isinstance(fields, dict):
            fields = fields.get(step)
        elif isinstance(fields, list) and step.isdigit() and int(step) < len(fields):
            fields = fields[int(step)]
        else:
            return ""
    return "" if fields is None or isinstance(fields, dict | list) else str(fields)
