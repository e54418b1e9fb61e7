"""Looks at each configured channel from here: can it be reached, does it let us in.

Nothing is sent to any phone, and nothing is taken from one: the SMSC is asked as a transmitter
only, so that no reply of a patient can end up with the doctor.
"""

import socket
import ssl
import struct
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime
from enum import StrEnum
from urllib.parse import urlsplit

import httpx
from aiosmpplib.state import SmppCommandStatus

from bot.config_sections import HttpSection, Settings, SmppSection, TelegramSection

SKEW = timedelta(seconds=60)  # webhooks are refused beyond five minutes; warn well before
BIND_TRANSMITTER, UNBIND = 0x02, 0x06


class Health(StrEnum):
    """How a thing is."""

    WELL = "ok"
    OFF = "off"
    DOUBTFUL = "look"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was looked at, how it is, and what to do about it."""

    subject: str
    health: Health
    says: str
    mend: str = ""


def channel_findings(settings: Settings, now: datetime, seconds: float = 5.0) -> list[Finding]:
    """Every channel, in the order of the settings."""
    found = [public_address(settings)]
    if settings.telegram is None:
        found.append(Finding("telegram", Health.OFF, "not configured"))
    else:
        found += telegram(settings.telegram, now, seconds)
    if settings.sms is None:
        found.append(Finding("sms", Health.OFF, "not configured"))
    elif isinstance(settings.sms, SmppSection):
        found.append(smpp(settings.sms, seconds))
    else:
        found += http_gateway(settings.sms, now, seconds)
    if settings.telegram is None and settings.sms is None:
        mend = "Add a section [telegram] or [sms] to countdown.toml."
        found.append(Finding("channels", Health.WRONG, "no patient can be reached", mend))
    return found


def public_address(settings: Settings) -> Finding:
    """Whether providers can call us, as far as that can be told from inside."""
    needs = isinstance(settings.sms, HttpSection)
    if settings.public_url is None:
        if needs:
            mend = "Set public_url to the https address under which this server is reached."
            says = "the SMS gateway has no address to call with replies"
            return Finding("public_url", Health.WRONG, says, mend)
        return Finding("public_url", Health.OFF, "not set: Telegram is polled")
    host = urlsplit(settings.public_url).hostname or ""
    try:
        socket.getaddrinfo(host, None)
    except OSError:
        mend = "Enter the name in the DNS, or correct public_url."
        return Finding("public_url", Health.WRONG, f"the name {host} is not in the DNS", mend)
    return Finding("public_url", Health.WELL, f"{settings.public_url}; the name is in the DNS")


def telegram(section: TelegramSection, now: datetime, seconds: float) -> list[Finding]:
    """Asks the Bot API who the token belongs to."""
    address = f"{section.api}/bot{section.token.get_secret_value()}/getMe"
    answer = _ask("telegram", address, seconds)
    if isinstance(answer, Finding):
        return [answer]
    if answer.status_code in (401, 404):
        mend = "Take the token anew from the bot's owner and set telegram.token."
        return [Finding("telegram", Health.WRONG, "the token is refused", mend)]
    name = _bot_name(answer)
    if name is None:
        says = f"answers, but not as the Bot API does (status {answer.status_code})"
        mend = f"Check telegram.api and any proxy before {urlsplit(section.api).hostname}."
        return [Finding("telegram", Health.WRONG, says, mend)]
    return [_linked(section, name), *_clock(answer, now)]


def _linked(section: TelegramSection, name: str) -> Finding:
    """Whether the links that patients are given lead to this bot."""
    if section.bot_name is None:
        mend = f'Set telegram.bot_name = "{name}", so that patients can be given links.'
        return Finding("telegram", Health.DOUBTFUL, f"the bot is @{name}; no links are made", mend)
    if section.bot_name.lower() != name.lower():
        says = f"the token is that of @{name}, the links lead to @{section.bot_name}"
        return Finding("telegram", Health.WRONG, says, "Correct telegram.bot_name or the token.")
    return Finding("telegram", Health.WELL, f"the bot is @{name}")


def _bot_name(answer: httpx.Response) -> str | None:
    try:
        return str(answer.json()["result"]["username"])
    except (ValueError, KeyError, TypeError):
        return None


def http_gateway(section: HttpSection, now: datetime, seconds: float) -> list[Finding]:
    """Reaches the gateway's server without sending a message."""
    parts = urlsplit(section.url)
    answer = _ask("sms", f"{parts.scheme}://{parts.netloc}/", seconds)
    if isinstance(answer, Finding):
        return [answer]
    says = f"{parts.hostname} answers; user and secret show only when a message is sent"
    says += f"; Spanish accents: {section.accents}"
    found = [Finding("sms", Health.WELL, says), *_clock(answer, now)]
    if parts.scheme != "https" and parts.hostname not in ("127.0.0.1", "localhost"):
        mend = "Use the gateway's https address."
        found.append(Finding("sms", Health.DOUBTFUL, "messages travel unencrypted", mend))
    if not section.signed:
        mend = "Use signatures if the gateway can; else admit its addresses only."
        found.append(Finding("sms", Health.DOUBTFUL, "its calls to us are not signed", mend))
    return found


def smpp(section: SmppSection, seconds: float) -> Finding:
    """Binds as a transmitter and unbinds."""
    place = f"{section.host}:{section.port}"
    try:
        with socket.create_connection((section.host, section.port), seconds) as line:
            line.settimeout(seconds)
            line.sendall(_bind(section))
            _length, _command, status, _sequence = struct.unpack("!4I", _exactly(line, 16))
            line.sendall(struct.pack("!4I", 16, UNBIND, 0, 2))
    except TimeoutError:
        mend = "Open the firewall towards it, and ask whether it lets this server's address in."
        return Finding("sms", Health.WRONG, f"{place} does not answer", mend)
    except OSError as error:
        mend = "Check sms.host and sms.port, and that the SMSC runs."
        says = f"{place} cannot be reached: {error.strerror or error}"
        return Finding("sms", Health.WRONG, says, mend)
    if status:
        known = {kept.value: kept.name for kept in SmppCommandStatus}
        says = f"{place} refuses the bind with {known.get(status, 'status')} (0x{status:02X})"
        mend = "Check sms.system_id, sms.password and sms.system_type with the operator."
        return Finding("sms", Health.WRONG, says, mend)
    says = f"{place} lets {section.system_id} in; Spanish accents: {section.accents}"
    return Finding("sms", Health.WELL, says)


def _bind(section: SmppSection) -> bytes:
    """A bind_transmitter (SMPP 3.4, section 4.1.1)."""
    words = (section.system_id, section.password.get_secret_value(), section.system_type)
    body = b"".join(word.encode("ascii", "replace") + b"\0" for word in words)
    body += bytes((0x34, 0, 0)) + b"\0"
    return struct.pack("!4I", 16 + len(body), BIND_TRANSMITTER, 0, 1) + body


def _exactly(line: socket.socket, octets: int) -> bytes:
    got = b""
    while len(got) < octets:
        more = line.recv(octets - len(got))
        if not more:
            raise ConnectionResetError(None, "the other side hung up")
        got += more
    return got


def _ask(subject: str, address: str, seconds: float) -> httpx.Response | Finding:
    """One GET, or a Finding when no answer comes. Never quotes the path: it holds secrets."""
    host = urlsplit(address).hostname
    try:
        return httpx.get(address, timeout=seconds)
    except httpx.TimeoutException:
        mend = "Open the way to it in the firewall or set HTTPS_PROXY."
        return Finding(subject, Health.WRONG, f"{host} does not answer", mend)
    except httpx.HTTPError as error:
        cause: BaseException | None = error
        while cause and not isinstance(cause, ssl.SSLError):
            cause = cause.__cause__ or cause.__context__
        if cause:
            mend = "Trust the proxy's certificate on this server, or correct the clock."
            return Finding(subject, Health.WRONG, f"{host} shows a certificate not trusted", mend)
        mend = "Check the name, the DNS, the firewall and HTTPS_PROXY."
        return Finding(subject, Health.WRONG, f"{host} cannot be reached", mend)


def _clock(answer: httpx.Response, now: datetime) -> list[Finding]:
    """Compares our clock with the server's: a wrong one sends at wrong times and refuses calls."""
    try:
        theirs = parsedate_to_datetime(answer.headers["date"])
    except (KeyError, ValueError):
        return []
    if abs(theirs - now) <= SKEW:
        return []
    says = f"this server's clock is {abs((theirs - now).total_seconds()):.0f} s off"
    return [Finding("clock", Health.WRONG, says, "Turn on time synchronisation (NTP).")]
