"""When each patient is to be asked what, worked out anew from the protocol file by plain dates.

Nothing here is taken from the planner, nor from its reading of the content: the audit compares the
two, and an error must not excuse itself. So this knows only the YAML, `datetime` and `dateutil.tz`
(the planner reckons with `zoneinfo`).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from dateutil import tz
from ruamel.yaml import YAML

PromptLine = Mapping[str, Any]  # one prompt as it stands in the file
_UNITS = {"m": 1, "h": 60, "d": 24 * 60}
_AHEAD = ("start", "arrival", "last_food", "last_drink")
_LEAD = timedelta(hours=1)  # an evening copy comes this long before quiet hours


@dataclass(frozen=True, slots=True)
class House:
    """The hospital's own figures, as they stand in its rules file."""

    wake: time
    hush: time
    doors: time
    arrive_before: timedelta
    food: timedelta
    drink: timedelta
    washes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Booking:
    """What the timetable hangs on: the day, the start if known, where, since when."""

    on: date
    starts_at: time | None
    zone: str
    enrolled: datetime
    dawn: bool
    stops: tuple[tuple[str, date], ...] = ()  # medicine, day of the last dose

    def instant(self, on: date, at: time) -> datetime:
        """A clock time of that day; skipped ones move on, of two alike the first is meant."""
        here = datetime.combine(on, at, tz.gettz(self.zone))
        return tz.resolve_imaginary(here).astimezone(UTC)

    def clock(self, moment: datetime) -> datetime:
        """What the clocks show there."""
        return moment.astimezone(tz.gettz(self.zone))


@dataclass(frozen=True, slots=True)
class Asking:
    """One thing to be asked: at `at`, and of no use after `until`. `firm`: at that very moment."""

    key: str
    line: PromptLine
    at: datetime
    until: datetime
    meant: datetime  # before quiet hours were looked at
    repeated: bool = False
    item: str | None = None

    @property
    def firm(self) -> bool:
        """False of teaching, which may wait for another day or join another message of its day."""
        return self.line["priority"] != "teaching" or bool(self.line.get("time_critical"))

    @property
    def urgent(self) -> bool:
        """True of what may be nudged at night, for a patient who agreed to that."""
        return self.line["priority"] == "time_critical" or bool(self.line.get("time_critical"))

    @property
    def coach(self) -> bool:
        """True of what goes to the support person."""
        return bool(self.line.get("to") == "coach")


def read_lines(flows: Path, joint: str) -> tuple[PromptLine, ...]:
    """The lines of a joint's countdown and of the one that it builds on."""
    own = _yaml(flows / "protocol" / f"{joint}.yaml")
    base = _yaml(flows / "protocol" / f"{own['base']}.yaml")
    return (*base["prompts"], *own["prompts"])


def read_defaults(flows: Path) -> dict[str, object]:
    """What counts as known of a patient of whom nobody said anything."""
    return {name: fact["default"] for name, fact in _yaml(flows / "facts.yaml")["facts"].items()}


def read_house(flows: Path) -> House:
    """The figures of the hospital's rules."""
    given = {n: r["value"] for n, r in _yaml(flows / "rules" / "default.yaml").items()}
    clock = {name: time.fromisoformat(given[name]) for name in ("wake", "hush", "doors_open")}
    return House(
        clock["wake"], clock["hush"], clock["doors_open"],
        timedelta(minutes=given["arrive_before_minutes"]),
        timedelta(hours=given["food_hours"]), timedelta(hours=given["drink_hours"]),
        tuple(sorted(given["wash_days"])),
    )  # fmt: skip


def _yaml(path: Path) -> Any:  # noqa: ANN401 - whatever the file holds
    return YAML(typ="safe").load(path)


def timetable(lines: Sequence[PromptLine], house: House, booking: Booking) -> Iterator[Asking]:
    """All that this patient is to be asked, whatever the conditions on facts are."""
    for line in lines:
        for asking in _meant(line, house, booking):
            found = _awake(asking, house, booking)
            if found is not None:
                yield found


def _meant(line: PromptLine, house: House, booking: Booking) -> Iterator[Asking]:
    when, name = line["when"], line["id"]
    match when["anchor"]:
        case "surgery_date":
            first = when.get("from_day", when.get("days", 0))
            for days in range(first, when.get("to_day", first) + 1):
                mark = f"@{days}" if "from_day" in when else ""
                yield _on(line, booking, f"{name}{mark}", booking.on + timedelta(days=days))
        case "wash_day":
            yield from _washes(line, house, booking)
        case "last_dose":
            for medicine, last in booking.stops:
                day, key = last + timedelta(days=when.get("days", 0)), f"{name}/{medicine}"
                yield _on(line, booking, key, day, medicine=medicine)
        case anchor:
            base = _anchor(anchor, house, booking)
            if base is not None:
                at = base + timedelta(minutes=when.get("minutes", 0))
                yield Asking(name, line, at, at + _window(line), at, item=line.get("item"))


def _on(line: PromptLine, booking: Booking, key: str, day: date, **values: object) -> Asking:
    at = booking.instant(day, time.fromisoformat(line["when"]["at"]))
    item = line["item"].format(**values) if "item" in line else None
    return Asking(key, line, at, at + _window(line), at, "@" in key, item)


def _washes(line: PromptLine, house: House, booking: Booking) -> Iterator[Asking]:
    when = line["when"]
    for n, day in enumerate(house.washes, start=1):
        if not when["from_day"] <= day <= when["to_day"]:
            continue
        on, key, shift = booking.on + timedelta(days=day), f"{line['id']}/{n}", when.get("days", 0)
        if day == 0 and shift == 0:
            yield from _morning_wash(line, house, booking, key, n)
            continue
        asking = _on(line, booking, key, on + timedelta(days=shift), n=n)
        if shift == 0:  # a wash on the wrong day is not that wash
            midnight = booking.instant(on + timedelta(days=1), time(0))
            asking = replace(asking, until=min(asking.until, midnight))
        yield asking


def _morning_wash(
    line: PromptLine, house: House, booking: Booking, key: str, n: int
) -> Iterator[Asking]:
    arrival = _anchor("arrival", house, booking)
    if arrival is not None:
        at = arrival + timedelta(minutes=line["when"]["minutes"])
        until = min(arrival, at + _window(line))
        yield Asking(key, line, at, until, at, item=line["item"].format(n=n))


def _anchor(anchor: str, house: House, booking: Booking) -> datetime | None:
    if anchor == "enrolment":
        return booking.enrolled
    if booking.starts_at is None:
        return None
    start = booking.instant(booking.on, booking.starts_at)
    if anchor == "arrival":
        doors = booking.instant(booking.on, house.doors)
        return min(max(start - house.arrive_before, doors), start)
    if anchor == "start":
        return start
    return _cut_off(start, house.food if anchor == "last_food" else house.drink, booking)


def _cut_off(start: datetime, before: timedelta, booking: Booking) -> datetime:
    """Hours before the start, by the sun or by the clock on the wall: the earlier of the two."""
    shown = booking.clock(start).replace(tzinfo=None) - before
    return min(start - before, booking.instant(shown.date(), shown.time()))


def _window(line: PromptLine) -> timedelta:
    text = line["window"]
    return timedelta(minutes=int(text[:-1]) * _UNITS[text[-1]])


def is_quiet(moment: datetime, house: House, booking: Booking) -> bool:
    """True between the evening and the morning of the rules, on the clocks there."""
    return not house.wake <= booking.clock(moment).time() < house.hush


def next_morning(moment: datetime, house: House, booking: Booking) -> datetime:
    """The moment itself by day, else the end of that night."""
    if not is_quiet(moment, house, booking):
        return moment
    here = booking.clock(moment)
    late = here.time() >= house.hush
    return booking.instant(here.date() + timedelta(days=1 if late else 0), house.wake)


def _awake(asking: Asking, house: House, booking: Booking) -> Asking | None:
    """Out of the night, to where it still makes sense; None when something else covers it then."""
    line, anchor = asking.line, asking.line["when"]["anchor"]
    dawn = bool(line.get("time_critical")) and booking.dawn and not asking.coach
    if dawn or not is_quiet(asking.at, house, booking):
        return asking
    here, morning = booking.clock(asking.at), next_morning(asking.at, house, booking)
    if anchor == "enrolment":
        return replace(asking, at=morning, until=asking.until + (morning - asking.at))
    day = here.date() if here.time() >= house.hush else here.date() - timedelta(days=1)
    evening = booking.instant(day, house.hush) - _LEAD
    keeps_day = booking.clock(morning).date() == here.date() != booking.on
    if anchor in _AHEAD or line.get("time_critical") or not keeps_day or morning > asking.until:
        unsaid = line.get("evening_flow") == "" and day < here.date()
        return None if unsaid and line.get("time_critical") else replace(asking, at=evening)
    return replace(asking, at=morning)
