"""What `countdown plan` takes: its options as values, with every mistake told how to mend."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from bot.core.countdown import day_offset, instant
from bot.core.protocol import FactValue, MedicineHold, Surgery

FIVE_WEEKS = 35  # days before surgery at which a patient enrols when --enrolled is not given
TRUE, FALSE = ("true", "yes", "1"), ("false", "no", "0")


def surgery_of(joint: str, side: str, when: str, zone: str, arrive: str | None) -> Surgery:
    """Read the operation: a local date, with or without a start and an arrival time."""
    place = _zone(zone)
    on, starts_at = _date_and_time(when, place, "--surgery")
    arrive_at = None
    if arrive is not None:
        try:
            arrive_at = time.fromisoformat(arrive)
        except ValueError as error:
            raise typer.BadParameter(f"--arrive {arrive}: write a time like 06:00.") from error
    return Surgery(joint, side, on, zone, starts_at, arrive_at)


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        message = f"--zone {name}: no such zone. Write an IANA name like America/New_York."
        raise typer.BadParameter(message) from error


def _date_and_time(text: str, zone: ZoneInfo, option: str) -> tuple[date, time | None]:
    """Read a local date with or without a time; an offset in it is turned to the zone."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        message = f"{option} {text}: write 2027-03-15 or 2027-03-15T07:30."
        raise typer.BadParameter(message) from error
    if moment.tzinfo is not None:
        moment = moment.astimezone(zone)
    has_time = "T" in text or ":" in text
    return moment.date(), moment.time() if has_time else None


def enrolled_of(text: str | None, operation: Surgery, wake: time) -> datetime:
    """Give the enrolment; a date without a time means the end of quiet hours that day."""
    if text is None:
        return instant(day_offset(operation.on, -FIVE_WEEKS), wake, operation.zone)
    on, at = _date_and_time(text, ZoneInfo(operation.zone), "--enrolled")
    return instant(on, at or wake, operation.zone)


def facts_of(pairs: Iterable[str], known: Mapping[str, FactValue]) -> dict[str, FactValue]:
    """Read KEY=VALUE pairs; only facts that the content knows, each of its own kind."""
    facts: dict[str, FactValue] = {}
    for pair in pairs:
        name, found, text = pair.partition("=")
        if not found or name not in {*known, "first_name"}:
            names = ", ".join(sorted(known))
            raise typer.BadParameter(f"--fact {pair}: write KEY=VALUE; known keys: {names}.")
        facts[name] = _value(pair, text, known.get(name, ""))
    return facts


def _value(pair: str, text: str, like: FactValue) -> FactValue:
    """Read a value as the kind that the fact has."""
    if isinstance(like, bool):
        if text.lower() not in TRUE + FALSE:
            raise typer.BadParameter(f"--fact {pair}: write yes or no.")
        return text.lower() in TRUE
    if isinstance(like, int):
        if not text.isdigit():
            raise typer.BadParameter(f"--fact {pair}: write a whole number.")
        return int(text)
    return text


def hold_of(entry: str) -> MedicineHold:
    """Read a medicine hold; without a named prescriber there is none to relay."""
    try:
        medicine, last, prescriber = (part.strip() for part in entry.split("="))
        moment = datetime.fromisoformat(last)
    except ValueError as error:
        message = f'--hold {entry}: write "ibuprofen=2027-03-08=Dr. Ana Quill".'
        raise typer.BadParameter(message) from error
    return MedicineHold(
        medicine, moment.date(), prescriber, last_dose_at=moment.time() if "T" in last else None
    )
