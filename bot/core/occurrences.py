"""From one line of the protocol to its dated occurrences, before quiet hours and lateness count."""

from collections.abc import Iterator, Mapping
from dataclasses import field
from datetime import date, datetime

from bot.core.arrival import arrival
from bot.core.countdown import day_offset, elapsed, instant
from bot.core.fasting import cut_offs, start_of
from bot.core.protocol import Anchor, Candidate, MedicineHold, Prompt, Rules, Surgery, When
from bot.core.quiet import end_of_day
from bot.core.value import value

MORNING_WASH_LEAD = 90  # minutes from the morning wash to the arrival; common practice, no source
CALENDAR = frozenset({Anchor.SURGERY_DATE, Anchor.WASH_DAY, Anchor.LAST_DOSE})


@value
class Occurrence:
    """One prompt on one day. `due` is None while it waits for the start time."""

    key: str
    prompt: Prompt
    due: datetime | None
    closes: datetime | None
    time_critical: bool
    repeated: bool = False  # one of a daily series
    hold: MedicineHold | None = None
    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def item(self) -> str | None:
        """The countdown item that this occurrence is about, with its number or medicine."""
        return None if self.prompt.item is None else self.prompt.item.format_map(dict(self.values))


@value
class _Base:
    """One day that a calendar prompt counts from, with what tells it apart."""

    suffix: str
    on: date
    values: Mapping[str, str] = field(default_factory=dict)
    hold: MedicineHold | None = None
    is_wash: bool = False


def occurrences(
    prompt: Prompt, rules: Rules, candidate: Candidate, surgery: Surgery
) -> Iterator[Occurrence]:
    """Give every occurrence of `prompt`: per wash, per medicine hold, per day of a daily range."""
    if prompt.when.anchor not in CALENDAR:
        yield _at_instant(prompt, rules, candidate, surgery)
        return
    for base in _bases(prompt.when, rules, candidate, surgery):
        for days, mark in _days(prompt.when):
            yield _on_day(prompt, base, day_offset(base.on, days), mark, rules, surgery)


def anchor_instant(
    anchor: Anchor, rules: Rules, candidate: Candidate, surgery: Surgery
) -> datetime | None:
    """Give the instant of an anchor that has one, or None while the start is unknown."""
    if anchor is Anchor.ENROLMENT:
        return candidate.enrolled_at
    if anchor is Anchor.START:
        return start_of(surgery)
    if anchor is Anchor.ARRIVAL:
        arriving = arrival(rules, surgery)
        return None if arriving is None else arriving.at
    fasting = cut_offs(rules, surgery)
    if fasting is None:
        return None
    return fasting.food if anchor is Anchor.LAST_FOOD else fasting.drink


def _at_instant(prompt: Prompt, rules: Rules, candidate: Candidate, surgery: Surgery) -> Occurrence:
    at = anchor_instant(prompt.when.anchor, rules, candidate, surgery)
    due = None if at is None else elapsed(at, prompt.when.minutes)
    closes = None if due is None else elapsed(due, prompt.window_minutes)
    return Occurrence(prompt.id, prompt, due, closes, prompt.time_critical)


def _bases(when: When, rules: Rules, candidate: Candidate, surgery: Surgery) -> Iterator[_Base]:
    if when.anchor is Anchor.SURGERY_DATE:
        yield _Base("", surgery.on)
    elif when.anchor is Anchor.WASH_DAY:
        yield from _wash_bases(when, rules, surgery)
    else:
        yield from _hold_bases(candidate.holds)


def _wash_bases(when: When, rules: Rules, surgery: Surgery) -> Iterator[_Base]:
    """Give the washes whose day lies in the prompt's range, numbered among all of them."""
    washes = sorted(rules.wash_days)
    for n, days in enumerate(washes, start=1):
        on = day_offset(surgery.on, days)
        if _in_range(days, when):
            values = {"n": str(n), "of": str(len(washes)), "day": on.isoformat()}
            yield _Base(f"/{n}", on, values, is_wash=True)


def _in_range(days: int, when: When) -> bool:
    after_first = when.first_day is None or days >= when.first_day
    return after_first and (when.last_day is None or days <= when.last_day)


def _hold_bases(holds: tuple[MedicineHold, ...]) -> Iterator[_Base]:
    named: set[str] = set()
    for hold in holds:
        suffix = f"/{hold.medicine}"
        if suffix in named:  # two entries for one medicine: both must be told
            suffix += f"-{hold.last_dose_on.isoformat()}"
        named.add(suffix)
        yield _Base(suffix, hold.last_dose_on, hold_values(hold), hold)


def hold_values(hold: MedicineHold) -> dict[str, str]:
    """Give what a text may say of a medicine hold: the prescriber's entry, nothing derived."""
    last: date | datetime = hold.last_dose_on
    if hold.last_dose_at is not None:
        last = datetime.combine(hold.last_dose_on, hold.last_dose_at)
    return {
        "medicine": hold.medicine,
        "prescriber": hold.prescriber,
        "last_dose": last.isoformat(),
        "instruction": hold.instruction,
    }


def _days(when: When) -> Iterator[tuple[int, str]]:
    first, last = when.first_day, when.last_day
    if when.anchor is Anchor.WASH_DAY or first is None or last is None:
        yield when.days, ""
        return
    for days in range(first, last + 1):
        yield days, f"@{days}"


def _on_day(
    prompt: Prompt, base: _Base, on: date, mark: str, rules: Rules, surgery: Surgery
) -> Occurrence:
    key = f"{prompt.id}{base.suffix}{mark}"
    if base.is_wash and base.on == surgery.on == on:
        return _morning_wash(key, prompt, base, rules, surgery)
    due = instant(on, prompt.when.at or rules.wake, surgery.zone)
    closes = elapsed(due, prompt.window_minutes)
    if base.is_wash and on == base.on:  # a wash on the wrong day is not that wash
        closes = min(closes, end_of_day(on, surgery.zone))
    return Occurrence(
        key, prompt, due, closes, prompt.time_critical, bool(mark), base.hold, base.values
    )


def _morning_wash(
    key: str, prompt: Prompt, base: _Base, rules: Rules, surgery: Surgery
) -> Occurrence:
    """Date the wash of the day of surgery: before leaving home, however early that is.

    The protocol's clock time holds for the other wash days and here only if it is early enough.
    """
    arriving = arrival(rules, surgery)
    if arriving is None:
        return Occurrence(key, prompt, None, None, time_critical=True, values=base.values)
    due = elapsed(arriving.at, prompt.when.minutes or -MORNING_WASH_LEAD)
    if prompt.when.at is not None:
        due = min(due, instant(surgery.on, prompt.when.at, surgery.zone))
    closes = min(arriving.at, elapsed(due, prompt.window_minutes))
    return Occurrence(key, prompt, due, closes, time_critical=True, values=base.values)
