"""Makes the channels, and their webhook routes, that the settings switch on."""

from collections.abc import Callable
from dataclasses import replace

from pydantic import SecretStr
from starlette.routing import Route

from bot.channels.base import Channel, Clock
from bot.channels.http_sms import HttpSmsChannel
from bot.channels.http_template import HttpSmsSettings, Inbound
from bot.channels.smpp import SmppChannel
from bot.channels.smpp_client import SmppSettings
from bot.channels.telegram import TelegramChannel
from bot.channels.telegram_client import TelegramSettings
from bot.channels.webhooks import sms_routes, telegram_routes
from bot.config_sections import HttpSection, Settings, SmppSection, TelegramSection


def channels_of(
    settings: Settings,
    clock: Clock,
    *,
    sends: bool = True,
    receives: bool = True,
    may_poll: Callable[[], bool] = lambda: True,
) -> list[Channel]:
    """The channels that are switched on, not started yet.

    A process that does not send has no SMPP link: one link carries both ways, so what comes in by
    it comes to whoever sends.
    """
    made: list[Channel] = []
    if settings.telegram:
        chosen = replace(telegram(settings.telegram, settings.public_url), receives=receives)
        made.append(TelegramChannel(chosen, clock, may_poll))
    if sends and isinstance(settings.sms, SmppSection):
        made.append(SmppChannel(smpp(settings.sms), clock, settings.sms.accents))
    if isinstance(settings.sms, HttpSection):
        made.append(HttpSmsChannel(http_sms(settings.sms), clock, settings.sms.accents))
    return made


def routes_of(settings: Settings, channels: list[Channel]) -> list[Route]:
    """The webhook routes of these channels, for the web application to mount."""
    routes: list[Route] = []
    for channel in channels:
        if isinstance(channel, HttpSmsChannel):
            routes += sms_routes(channel)
        if isinstance(channel, TelegramChannel) and settings.telegram and settings.public_url:
            secrets = _plain(settings.telegram.webhook_secrets)
            routes += telegram_routes(channel, secrets)
    return routes


def telegram(section: TelegramSection, public_url: str | None) -> TelegramSettings:
    """The adapter's settings from `[telegram]`."""
    return TelegramSettings(
        token=section.token.get_secret_value(),
        public_url=public_url,
        webhook_secrets=_plain(section.webhook_secrets),
        api=section.api,
    )


def smpp(section: SmppSection) -> SmppSettings:
    """The adapter's settings from `[sms]` of the kind "smpp"."""
    return SmppSettings(
        host=section.host,
        port=section.port,
        system_id=section.system_id,
        password=section.password.get_secret_value(),
        sender=section.sender.lstrip("+"),
        sender_ton=_kind_of_number(section.sender)[0],
        sender_npi=_kind_of_number(section.sender)[1],
        system_type=section.system_type,
        keep_alive=section.keep_alive,
        per_second=section.per_second,
        spool=section.spool,
    )


def _kind_of_number(sender: str) -> tuple[int, int]:
    """Type and plan of the sender (SMPP 3.4, 5.2.5 and 5.2.6): +number, short code or name."""
    if sender.startswith("+"):
        return 1, 1  # international, E.164
    return (3, 0) if sender.isdigit() else (5, 0)  # network specific, alphanumeric


def http_sms(section: HttpSection) -> HttpSmsSettings:
    """The adapter's settings from `[sms]` of the kind "http"."""
    where = section.inbound
    return HttpSmsSettings(
        url=section.url,
        sender=section.sender,
        fields=section.fields,
        user=section.user,
        secret=section.secret.get_secret_value(),
        method=section.method,
        body=section.body,
        headers=section.headers,
        id_path=section.id_path,
        inbound=Inbound(
            where.id, where.address, where.text, where.status, where.key, where.coded_key
        ),
        statuses=section.statuses,
        webhook_secrets=_plain(section.webhook_secrets),
        signed=section.signed,
        stamp_header=section.stamp_header,
        signature_header=section.signature_header,
    )


def _plain(secrets: tuple[SecretStr, ...]) -> tuple[str, ...]:
    return tuple(secret.get_secret_value() for secret in secrets)
