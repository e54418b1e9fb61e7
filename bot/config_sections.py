"""The sections of the configuration and what each setting may be."""

import re
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SecretStr,
    model_validator,
)

from bot.channels.base import DeliveryState
from bot.channels.http_template import Body
from bot.core.segments import Accents


def _web_address(value: str) -> str:
    parts = urlsplit(value)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ValueError("is no web address. Write it as https://coach.example.org")
    return value.rstrip("/")


def _public_address(value: str) -> str:
    local = urlsplit(value).hostname in ("127.0.0.1", "localhost")
    if urlsplit(value).scheme != "https" and not local:
        raise ValueError("must begin with https://, for patients' words cross the internet to it")
    return value


def _bot_token(value: SecretStr) -> SecretStr:
    number, colon, rest = value.get_secret_value().partition(":")
    if not (number.isdigit() and colon and rest):
        raise ValueError("has not the form 123456:letters in which Telegram gives tokens out")
    return value


def _webhook_secret(value: SecretStr) -> SecretStr:
    """Telegram allows these signs only; 16 of them cannot be guessed."""
    if not re.fullmatch(r"[A-Za-z0-9_-]{16,256}", value.get_secret_value()):
        raise ValueError("needs 16 to 256 signs, of letters, digits, _ and - only")
    return value


def _smpp_password(value: SecretStr) -> SecretStr:
    """SMPP 3.4, section 4.1.1: nine octets with the closing zero."""
    if len(value.get_secret_value()) > 8:
        raise ValueError("is longer than the 8 signs that SMPP 3.4 allows")
    return value


def _template(value: dict[str, str]) -> dict[str, str]:
    together = " ".join(value.values())
    if "{text}" not in together or not {"{to}", "{to_digits}"} & set(
        re.findall(r"{\w+}", together)
    ):
        raise ValueError("must use {text} and one of {to}, {to_digits}")
    return value


def _token(value: SecretStr) -> SecretStr:
    """Empty: none is set. 16 signs of a random one cannot be guessed."""
    if value.get_secret_value() and len(value.get_secret_value()) < 16:
        raise ValueError("is shorter than 16 signs. Take a long random one, or leave it out")
    return value


WebAddress = Annotated[str, AfterValidator(_web_address)]
PublicAddress = Annotated[WebAddress, AfterValidator(_public_address)]
Port = Annotated[int, Field(ge=1, le=65535)]
WebhookSecret = Annotated[SecretStr, AfterValidator(_webhook_secret)]
Sender = Annotated[str, Field(pattern=r"^(\+?[0-9]{3,15}|[A-Za-z0-9 ]{1,11})$")]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _secrets_from_files(cls, values: Any) -> Any:  # noqa: ANN401 - raw input of any shape
        """Replaces `name_file` by the content of that file, for the names that are secrets."""
        if not isinstance(values, dict):
            return values
        read = dict(values)
        for name in [key for key in values if key.removesuffix("_file") in _secrets(cls)]:
            if name.endswith("_file"):
                path = Path(str(read.pop(name)))
                if not path.is_file():
                    raise ValueError(f"{name} names a file that is not there")
                read[name.removesuffix("_file")] = path.read_text().strip()
        return read


def _secrets(section: type[BaseModel]) -> set[str]:
    return {name for name, kind in section.model_fields.items() if kind.annotation is SecretStr}


class TelegramSection(_Section):
    """`[telegram]`: the bot. Long polling unless a public address is set."""

    token: Annotated[SecretStr, AfterValidator(_bot_token)]
    bot_name: Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]{4,31}$")] | None = None
    webhook_secrets: tuple[WebhookSecret, ...] = Field(default=(), max_length=2)
    api: WebAddress = "https://api.telegram.org"


class _SmsSection(_Section):
    """What every kind of `[sms]` has. `accents`: see docs/running.md for what each choice costs."""

    sender: Sender
    accents: Accents = Accents.KEEP


class SmppSection(_SmsSection):
    """`[sms]` with kind = "smpp": a link to an SMSC."""

    kind: Literal["smpp"]
    host: str = Field(min_length=1)
    port: Port = 2775
    system_id: str = Field(min_length=1, max_length=15)
    password: Annotated[SecretStr, AfterValidator(_smpp_password)]
    system_type: str = Field(default="", max_length=12)
    keep_alive: float = Field(default=30.0, gt=0)
    per_second: float = Field(default=10.0, gt=0)
    spool: Path = Path("data/sms_parts.json")


class InboundSection(_Section):
    """`[sms.inbound]`: where the gateway's calls have their fields."""

    id: str = "id"
    address: str = "from"
    text: str = "text"
    status: str = "status"
    key: str = ""
    coded_key: str = ""


class HttpSection(_SmsSection):
    """`[sms]` with kind = "http": a gateway described by template."""

    kind: Literal["http"]
    url: WebAddress
    fields: Annotated[dict[str, str], AfterValidator(_template)]
    user: str = ""
    secret: SecretStr = SecretStr("")
    method: Literal["GET", "POST"] = "POST"
    body: Body = Body.FORM
    headers: dict[str, str] = {}
    id_path: str = ""
    inbound: InboundSection = InboundSection()
    statuses: dict[str, DeliveryState] = {}
    webhook_secrets: tuple[WebhookSecret, ...] = Field(min_length=1, max_length=2)
    signed: bool = True
    stamp_header: str = "X-Timestamp"
    signature_header: str = "X-Signature"


class WatchSection(_Section):
    """`[watch]`: who in IT is written to when the scheduler or the relay stands still."""

    channel: Literal["sms", "telegram"] = "sms"
    address: str = Field(min_length=1)
    name: str = "IT"


class Settings(_Section):
    """All settings. A section that is left out is switched off."""

    database: str = Field(default="sqlite:///data/countdown.db", repr=False)
    public_url: PublicAddress | None = None
    host: str = "127.0.0.1"
    port: Port = 8080
    metrics_token: Annotated[SecretStr, AfterValidator(_token)] = SecretStr("")
    telegram: TelegramSection | None = None
    watch: WatchSection | None = None
    sms: Annotated[SmppSection | HttpSection, Field(discriminator="kind")] | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> "Settings":
        if self.telegram and self.public_url and not self.telegram.webhook_secrets:
            raise ValueError(
                "telegram.webhook_secrets is needed when public_url is set. "
                "Add one secret, or leave public_url out to poll"
            )
        return self
