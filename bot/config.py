"""Settings from the environment and one TOML file, checked as a whole before anything starts.

    settings = load_settings(os.environ)

The file is `countdown.toml` in the working directory, or the one that COUNTDOWN_CONFIG names. A
variable such as COUNTDOWN_TELEGRAM__TOKEN overrides `token` under `[telegram]`. Each secret may
stand in a file of its own instead: `token_file = "/run/secrets/telegram-token"`.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from bot.config_sections import Settings

PREFIX = "COUNTDOWN_"
FILE_VARIABLE = "COUNTDOWN_CONFIG"
DEFAULT_FILE = "countdown.toml"
_LISTS = frozenset(("webhook_secrets",))  # written with commas in a variable


@dataclass(frozen=True, slots=True)
class ConfigFault:
    """One thing that is wrong in the configuration. Never quotes a value: it may be a secret."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


class ConfigFaults(Exception):
    """Everything that is wrong in the configuration, all at once."""

    def __init__(self, faults: list[ConfigFault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


def load_settings(environ: Mapping[str, str], folder: Path = Path()) -> Settings:
    """Reads and checks everything. Raises ConfigFaults with all that is wrong."""
    given = environ.get(FILE_VARIABLE)
    path = folder / (given or DEFAULT_FILE)
    if given and not path.is_file():
        raise ConfigFaults([ConfigFault(FILE_VARIABLE, f"names {path}, which is not there")])
    values: dict[str, Any] = {}
    if path.is_file():
        try:
            values = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            fault = ConfigFault(str(path), f"is no valid TOML: {error}")
            raise ConfigFaults([fault]) from None
    _overlay(values, environ)
    try:
        return Settings.model_validate(values)
    except ValidationError as error:
        raise ConfigFaults(_faults(error)) from None


def _overlay(values: dict[str, Any], environ: Mapping[str, str]) -> None:
    """Puts the variables over the file's values."""
    for variable in sorted(environ):
        if not variable.startswith(PREFIX) or variable == FILE_VARIABLE:
            continue
        *sections, name = variable.removeprefix(PREFIX).lower().split("__")
        place = values
        for section in sections:
            place = place.setdefault(section, {})
        text = environ[variable]
        place[name] = text.split(",") if name in _LISTS else text


def _faults(error: ValidationError) -> list[ConfigFault]:
    """The library's errors in our words: the key as in the file, and no value."""
    faults = []
    for kept in error.errors(include_input=False, include_url=False):
        steps = [str(step) for step in kept["loc"] if step not in ("smpp", "http")]
        where = ".".join(steps) or "settings"
        what = kept["msg"].removeprefix("Value error, ")
        if kept["type"] == "missing":
            variable = PREFIX + "__".join(steps).upper()
            what = f"is missing. Set it in the file, or as {variable}"
        elif kept["type"] == "extra_forbidden":
            what = "is no setting. Check its spelling"
        elif kept["type"].startswith("union_tag"):
            what = 'needs kind = "smpp" or kind = "http"'
        faults.append(ConfigFault(where, what))
    return faults
