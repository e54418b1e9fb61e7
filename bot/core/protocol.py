"""The hospital's plan as values: protocol, prompts, rules, the surgery, the patient's facts.

Everything here is read from `flows/` or from the record; nothing here decides anything.
Dates are local calendar dates of the hospital's zone; instants are timezone-aware UTC.
"""

from collections.abc import Mapping
from dataclasses import field, replace
from datetime import date, datetime, time
from enum import StrEnum

from bot.core.value import value

FactValue = bool | int | str


class Anchor(StrEnum):
    """What a prompt's time is counted from."""

    ENROLMENT = "enrolment"
    SURGERY_DATE = "surgery_date"
    START = "start"
    ARRIVAL = "arrival"
    LAST_FOOD = "last_food"  # fasting cut-off for food, derived from the start
    LAST_DRINK = "last_drink"  # fasting cut-off for clear liquids, derived from the start
    LAST_DOSE = "last_dose"  # per medicine hold: the day of the last dose
    WASH_DAY = "wash_day"  # per wash: the calendar day that the practice set for it


class Priority(StrEnum):
    """Which waiting question is asked first. Order of the members is the order of asking."""

    SAFETY = "safety"
    TIME_CRITICAL = "time_critical"
    TEACHING = "teaching"


class Late(StrEnum):
    """What happens to a prompt that could not go out when due but whose window is still open."""

    SEND = "send"
    SKIP = "skip"
    NURSE = "nurse"  # not sent; listed for the nurse


@value
class FactTest:
    """One condition on one fact: equal to one of `values`, or at least / below a number."""

    fact: str
    values: tuple[FactValue, ...] = ()
    at_least: int | None = None
    below: int | None = None


@value
class When:
    """A moment relative to an anchor.

    Calendar anchors (surgery_date, wash_day, last_dose) take `days` and `at` (local wall-clock).
    Instant anchors (enrolment, start, arrival, last_food, last_drink) take `minutes` of elapsed
    time, which may be negative. `first_day`/`last_day` repeat the prompt daily, both included;
    with wash_day they choose the washes instead (by their day), and `days` shifts from the wash.
    A wash of the day of surgery itself takes `minutes` before the arrival.
    """

    anchor: Anchor
    days: int = 0
    at: time | None = None
    minutes: int = 0
    first_day: int | None = None
    last_day: int | None = None


@value
class Prompt:
    """One line of the protocol: which flow opens, for whom, when, and until when it still helps."""

    id: str
    flow: str
    when: When
    to: str = "patient"  # or "coach"
    priority: Priority = Priority.TEACHING
    only_if: tuple[FactTest, ...] = ()
    not_if: tuple[FactTest, ...] = ()
    window_minutes: int = 24 * 60
    late: Late = Late.SEND
    time_critical: bool = False  # may go out in quiet hours if the patient agreed to that
    item: str | None = None  # the countdown item that this prompt is about (readiness)
    skip_if_done: bool = True  # an item already done is not asked again
    evening_flow: str | None = None  # opened the evening before instead, without dawn agreement;
    # None: the same flow opens with the value evening_before, "": nothing, something else covers it
    source_line: int = 0


@value
class Protocol:
    """The hospital's countdown for one kind of operation, or one surgeon's own."""

    name: str
    title: str
    prompts: tuple[Prompt, ...]
    base: str = ""  # the protocol that it builds on
    surgeon: str = ""  # whose patients it is for; empty: everyone's


def protocol_for(protocols: Mapping[str, Protocol], joint: str, surgeon: str) -> Protocol:
    """The surgeon's own countdown for this joint where there is one, else the joint's."""
    own = (p for p in protocols.values() if p.surgeon == surgeon and p.base == joint)
    return next(own, protocols[joint])


@value
class OfficeHours:
    """When a phone is answered: weekday (Monday is 0) -> (opens, closes), local; closed dates."""

    days: Mapping[int, tuple[time, time]]
    holidays: frozenset[date] = frozenset()


@value
class Phones:
    """The numbers a patient is told to call. Display text, as the hospital writes them."""

    office: str
    after_hours: str
    nurse: str
    emergency: str = "911"
    crisis: str = "988"


@value
class Rules:
    """What the hospital and the surgeon set for themselves. Defaults and sources: flows/rules/."""

    hospital: str
    surgeon: str
    phones: Phones
    hours: OfficeHours
    wake: time = time(8, 0)  # quiet hours end
    hush: time = time(21, 0)  # quiet hours begin
    daily_limit: int = 3
    doors_open: time = time(5, 30)
    arrive_before_minutes: int = 120
    food_hours: float = 8.0
    light_meal_hours: float = 6.0
    drink_hours: float = 2.0
    gum_mints_hours: float = 2.0
    wash_days: tuple[int, ...] = (-2, -1, 0)
    wash_minutes: str = "2 to 3"
    wash_product: str = "antiseptic soap"
    fever_c: float = 38.0
    fever_f: float = 100.4
    fever_older_c: float = 37.8
    fever_older_f: float = 100.0
    older_from: int = 65
    values: Mapping[str, str] = field(default_factory=dict)  # further placeholders for the texts


def names_the_surgeon(name: str) -> bool:
    """Say whether a further value is the surgeon's name in another language: `surgeon_es`."""
    return name.startswith("surgeon_")


def rules_of(rules: Rules, surgeon: str) -> Rules:
    """The hospital's rules for a surgeon without rules of their own, with that name alone in them.

    A name in another language stays with whom it belongs to.
    """
    if surgeon == rules.surgeon:
        return rules
    others = {name: v for name, v in rules.values.items() if not names_the_surgeon(name)}
    return replace(rules, surgeon=surgeon, values=others)


@value
class Surgery:
    """A planned operation: a local date and, once known, a local start time."""

    joint: str  # "hip" or "knee"
    side: str  # "left" or "right"
    on: date
    zone: str  # IANA name of the hospital's zone
    starts_at: time | None = None
    arrive_at: time | None = None  # set by the hospital; otherwise derived from the start


@value
class MedicineHold:
    """A medicine that a named prescriber told the patient to stop, with the last dose."""

    medicine: str
    last_dose_on: date
    prescriber: str
    instruction: str = ""
    last_dose_at: time | None = None


@value
class Candidate:
    """The patient as the countdown needs to know them."""

    enrolled_at: datetime
    facts: Mapping[str, FactValue] = field(default_factory=dict)
    holds: tuple[MedicineHold, ...] = ()
    dawn_agreed: bool = False  # agreed at enrolment to time-critical prompts in quiet hours
    has_coach: bool = False
    done: frozenset[str] = frozenset()  # items already done
