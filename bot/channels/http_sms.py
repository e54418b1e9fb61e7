"""SMS through a gateway that takes web forms or JSON and calls us back, described by a template."""

import logging
import threading
from collections.abc import Callable

import httpx

from bot.channels.base import (
    Clock,
    Delivery,
    Incoming,
    OnDelivery,
    OnIncoming,
    Outgoing,
    SendFailed,
    SendUnknown,
    Sent,
)
from bot.channels.form import numbered
from bot.channels.http_template import (
    Body,
    HttpSmsSettings,
    WebhookCall,
    filled,
    our_key,
    pick,
    read_fields,
    values_of,
)
from bot.channels.signing import Replays, Verdict, judge, known
from bot.channels.texting_rules import e164
from bot.core.segments import Accents, count

log = logging.getLogger(__name__)
CHANNEL = "sms"
_NEVER_LEFT = (
    httpx.ConnectError,
    httpx.ConnectTimeout,
    httpx.PoolTimeout,
    httpx.UnsupportedProtocol,
)
_OUR_FAULT = frozenset((401, 402, 403, 404, 405, 407))  # settings or credit: for IT to mend
_LATER = frozenset((408, 425, 429, 503))


class Refused(Exception):
    """A webhook that was not taken. `status` is the HTTP status to answer."""

    def __init__(self, status: int, reason: str) -> None:
        super().__init__(reason)
        self.status = status


class HttpSmsChannel:
    """The port over one HTTP gateway."""

    def __init__(
        self, settings: HttpSmsSettings, clock: Clock, accents: Accents = Accents.KEEP
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._accents = accents
        self._client = httpx.Client(timeout=settings.answer_within, follow_redirects=False)
        self._replays = Replays()
        self._taking = threading.Lock()
        self._trouble: str | None = None
        self._on_incoming: OnIncoming | None = None
        self._on_delivery: OnDelivery | None = None

    @property
    def name(self) -> str:
        """Always "sms"."""
        return CHANNEL

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Keeps the callbacks for the webhook routes; sending needs no standing connection."""
        self._on_incoming, self._on_delivery = on_incoming, on_delivery

    def send(self, outgoing: Outgoing) -> Sent:
        """Posts one message to the gateway."""
        text = numbered(outgoing, self._accents)
        try:
            answer = self._client.send(self._request(outgoing, text))
        except _NEVER_LEFT as error:
            self._trouble = f"the gateway cannot be reached: {type(error).__name__}"
            raise SendFailed("the gateway cannot be reached", permanent=False) from error
        except httpx.HTTPError as error:
            self._trouble = f"the gateway does not answer: {type(error).__name__}"
            raise SendUnknown(f"no answer from the gateway: {type(error).__name__}") from error
        return Sent(self._accepted(answer) or outgoing.key, count(text).parts)

    def trouble(self) -> str | None:
        """What the last send found wrong with the gateway; None if it was well."""
        return self._trouble

    def close(self) -> None:
        """Closes the connections."""
        self._client.close()

    def take_message(self, call: WebhookCall) -> bool:
        """A message from a phone; returns once it is stored, False if it was a repeat.

        Raises Refused if the call is not genuine or not readable.
        """
        return self._take(call, self._message)

    def take_status(self, call: WebhookCall) -> bool:
        """A delivery status. Same answers as `take_message`. An unknown word changes nothing."""
        return self._take(call, self._status)

    def _request(self, outgoing: Outgoing, text: str) -> httpx.Request:
        settings = self._settings
        values = values_of(settings, outgoing, text)
        fields = filled(settings.fields, values)
        headers = {"Idempotency-Key": values["key_coded"]} | filled(settings.headers, values)
        if settings.body is Body.JSON:
            return self._client.build_request(
                settings.method, settings.url, headers=headers, json=fields
            )
        if settings.body is Body.QUERY:
            return self._client.build_request(
                settings.method, settings.url, headers=headers, params=fields
            )
        return self._client.build_request(
            settings.method, settings.url, headers=headers, data=fields
        )

    def _accepted(self, answer: httpx.Response) -> str:
        """The gateway's id of an accepted message, or "". Raises what its status means."""
        status = answer.status_code
        if 200 <= status < 300:
            self._trouble = None
            return self._id_in(answer)
        reason = f"the gateway answered {status}"
        if status in _OUR_FAULT:
            self._trouble = f"{reason}: check its address, user, secret and credit"
            raise SendFailed(self._trouble, permanent=False)
        if status in _LATER:
            raise SendFailed(reason, permanent=False, retry_after=_seconds(answer))
        if status >= 500:
            self._trouble = reason
            raise SendUnknown(reason)
        raise SendFailed(reason, permanent=400 <= status < 500)

    def _id_in(self, answer: httpx.Response) -> str:
        if not self._settings.id_path:
            return ""
        try:
            return pick(answer.json(), self._settings.id_path)
        except ValueError:  # taken all the same; status calls will match by our key
            log.warning("the gateway's answer is no JSON: cannot read %s", self._settings.id_path)
            return ""

    def _take(self, call: WebhookCall, hand_in: Callable[[object], None]) -> bool:
        signed = self._proof(call)
        with self._taking:  # two calls with one signature must not both pass
            if signed and self._replays.seen(signed, self._clock()):
                return False
            try:
                fields = read_fields(call)
            except (ValueError, RecursionError) as error:
                raise Refused(400, "the body cannot be read") from error
            hand_in(fields)
            if signed:
                self._replays.taken(signed, self._clock())
        return True

    def _proof(self, call: WebhookCall) -> str:
        """The signature of a genuine call ("" if the gateway cannot sign). Raises Refused."""
        settings = self._settings
        if not settings.signed:
            if not known(settings.webhook_secrets, call.query.get("token", "")):
                raise Refused(403, "wrong token")
            return ""
        if not call.body:  # the signature covers the body only, so the query proves nothing
            raise Refused(400, "a signed call needs a body")
        stamp = call.headers.get(settings.stamp_header.lower(), "")
        signed = call.headers.get(settings.signature_header.lower(), "")
        verdict = judge(settings.webhook_secrets, stamp, signed, call.body, self._clock())
        if verdict is not Verdict.GOOD:
            raise Refused(403, f"the signature is {verdict}")
        return signed.removeprefix("sha256=").lower()

    def _message(self, fields: object) -> None:
        where = self._settings.inbound
        number, sender = pick(fields, where.id), pick(fields, where.address)
        if not number or not sender:
            raise Refused(400, f"needs the fields {where.id!r} and {where.address!r}")
        address = e164(sender) or e164(f"+{sender}") or sender
        incoming = Incoming(CHANNEL, address, pick(fields, where.text), number, self._clock())
        if self._on_incoming is None:
            raise Refused(503, "not started")
        self._on_incoming(incoming)

    def _status(self, fields: object) -> None:
        where = self._settings.inbound
        number = pick(fields, where.id)
        try:
            key = our_key(where, fields)
        except ValueError as error:
            raise Refused(400, "our own id is garbled") from error
        if not number and not key:
            raise Refused(400, f"needs the field {where.id!r} or our own id")
        word = pick(fields, where.status)
        state = self._settings.statuses.get(word)
        if self._on_delivery is None:
            raise Refused(503, "not started")
        if state is not None:
            self._on_delivery(
                Delivery(CHANNEL, state, self._clock(), number or None, key or None, reason=word)
            )


def _seconds(answer: httpx.Response) -> float | None:
    """Retry-After in seconds; None if absent or a date (then the outbox's own pause holds)."""
    given = answer.headers.get("Retry-After", "")
    return float(given) if given.isdigit() else None
