"""The shape of every content file, as strict models: an unknown key or a wrong kind is a fault."""

from datetime import date, time
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from bot.core.protocol import Anchor, Late, Priority
from bot.reading.reading import Asked

MINUTES_IN = {"m": 1, "h": 60, "d": 24 * 60}


def minutes(value: object) -> int:
    """Read a length of time written as 90m, 5h or 2d, in minutes."""
    text = str(value)
    if not text[:-1].isdigit() or text[-1:] not in MINUTES_IN:
        raise ValueError("a length of time is a whole number with m, h or d, like 90m, 5h or 2d")
    return int(text[:-1]) * MINUTES_IN[text[-1]]


def clock(value: object) -> time:
    """Read a local wall-clock time written as "17:00"."""
    try:
        return time.fromisoformat(str(value))
    except ValueError:
        raise ValueError('a time of day is written in quotes, like "17:00"') from None


def day(value: object) -> date:
    """Read a date written as 2027-11-01."""
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise ValueError("a date is written as 2027-11-01") from None


def one_or_more(value: object) -> object:
    """A single condition value stands for a list of one."""
    return value if isinstance(value, list | dict) else [value]


Minutes = Annotated[int, BeforeValidator(minutes)]
Clock = Annotated[time, BeforeValidator(clock)]
Day = Annotated[date, BeforeValidator(day)]
Texts = dict[str, str]  # language -> text
Scalar = bool | int | str


class Strict(BaseModel):
    """No unknown keys; enumerations are read from their words; nothing else is converted."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class RangeModel(Strict):
    """A number at or above one figure, below another."""

    at_least: int | None = Field(default=None, strict=True)
    below: int | None = Field(default=None, strict=True)


TestValue = Annotated[RangeModel | list[Scalar], BeforeValidator(one_or_more)]
Tests = dict[str, TestValue]


class ReplyModel(Strict):
    """What follows one kind of reply."""

    go: str | None = None
    say: str | None = None
    record: dict[str, str] = {}
    learn: dict[str, Scalar] = {}
    escalate: str | None = None
    wait: Minutes = 0


class SilenceModel(Strict):
    """The ladder for a question left unanswered."""

    nudge_after: Minutes
    nudges: int = Field(default=1, strict=True, ge=0, le=5)
    coach_after: Minutes | None = None
    nurse_after: Minutes | None = None
    escalate: str | None = None


class BranchModel(Strict):
    """One arm of a branch; without a condition it is the way for all others."""

    tests: Tests = Field(default={}, alias="if")
    go: str


class StartModel(Strict):
    """Another flow, queued for later."""

    flow: str
    after: Minutes = 0


class StateModel(Strict):
    """One state of a conversation."""

    say: str | None = None
    asked: Asked | None = None
    choices: list[str] = []
    replies: dict[str, ReplyModel] = {}
    silence: SilenceModel | None = None
    record: dict[str, str] = {}
    escalate: str | None = None
    go: str | None = None
    branch: list[BranchModel] = []
    starts: list[StartModel] = []
    end: str | None = None


class TalkModel(Strict):
    """One conversation. A talk without states only holds lines (system, coach_copy)."""

    flow: str
    title: str
    owner: str
    review_by: Day
    priority: Priority = Priority.TEACHING
    health: bool = Field(default=False, strict=True)
    sources: list[str] = []
    start: str | None = None
    states: dict[str, StateModel] = {}
    labels: dict[str, Texts] = {}
    wording: dict[str, Texts]


class WhenModel(Strict):
    """A moment relative to an anchor: days and a clock time, or elapsed minutes."""

    anchor: Anchor
    days: int = Field(default=0, strict=True)
    at: Clock | None = None
    minutes: int = Field(default=0, strict=True)
    from_day: int | None = Field(default=None, strict=True)
    to_day: int | None = Field(default=None, strict=True)


class PromptModel(Strict):
    """One line of a protocol."""

    id: str
    flow: str
    when: WhenModel
    to: Literal["patient", "coach"] = "patient"
    priority: Priority = Priority.TEACHING
    only_if: Tests = {}
    not_if: Tests = {}
    window: Minutes = 24 * 60
    late: Late = Late.SEND
    time_critical: bool = Field(default=False, strict=True)
    item: str | None = None
    skip_if_done: bool = Field(default=True, strict=True)
    evening_flow: str | None = None
    sources: list[str]


class ProtocolModel(Strict):
    """The hospital's countdown for one kind of operation."""

    protocol: str
    title: str
    owner: str
    review_by: Day
    base: str | None = None
    prompts: list[PromptModel]


class ReasonModel(Strict):
    """One kind of escalation."""

    title: str
    severity: Literal["emergency", "urgent", "today", "routine"]
    flow: str | None = None
    tell_patient: bool = Field(default=True, strict=True)
    sources: list[str]


class EscalationsModel(Strict):
    """All escalations, and the minutes allowed for each severity."""

    minutes: dict[Literal["emergency", "urgent", "today", "routine"], int] = {}
    reasons: dict[str, ReasonModel]


class FactModel(Strict):
    """A fact that the record may hold."""

    kind: Literal["bool", "number", "text"]
    default: Scalar | None = None
    values: list[Scalar] = []
    meaning: str


class PlaceholderModel(Strict):
    """A name that texts may use in {braces}."""

    meaning: str
    example: str


class FactsModel(Strict):
    """Every fact and every placeholder."""

    facts: dict[str, FactModel]
    placeholders: dict[str, PlaceholderModel]


class SourceModel(Strict):
    """Where a clinical or messaging fact comes from."""

    title: str
    section: str = ""
    year: int | None = None
    status: Literal["read", "second-hand", "memory", "common-practice", "our-choice"]
    link: str = ""
    note: str = ""
    review_by: Day | None = None


class PhonesModel(Strict):
    """Numbers as display text."""

    office: str
    after_hours: str
    nurse: str
    emergency: str = "911"
    crisis: str = "988"


class HoursModel(Strict):
    """When the office answers: weekday (0 = Monday) -> opens, closes."""

    days: dict[Literal[0, 1, 2, 3, 4, 5, 6], tuple[Clock, Clock]]
    holidays: list[Day] = []


class RulesModel(Strict):
    """The rules' values; each file gives the ones that it sets."""

    hospital: str
    surgeon: str
    phones: PhonesModel
    hours: HoursModel
    wake: Clock = time(8, 0)
    hush: Clock = time(21, 0)
    daily_limit: int = Field(default=3, strict=True, ge=1, le=10)
    doors_open: Clock = time(5, 30)
    arrive_before_minutes: int = Field(default=120, strict=True, ge=0, le=600)
    food_hours: float = Field(default=8.0, ge=0, le=24)
    light_meal_hours: float = Field(default=6.0, ge=0, le=24)
    drink_hours: float = Field(default=2.0, ge=0, le=24)
    gum_mints_hours: float = Field(default=2.0, ge=0, le=24)
    wash_days: tuple[int, ...] = (-2, -1, 0)
    wash_minutes: str = "2 to 3"
    wash_product: str = "antiseptic soap"
    fever_c: float = Field(default=38.0, ge=36, le=42)
    fever_f: float = Field(default=100.4, ge=97, le=108)
    fever_older_c: float = Field(default=37.8, ge=36, le=42)
    fever_older_f: float = Field(default=100.0, ge=97, le=108)
    older_from: int = Field(default=65, strict=True, ge=0, le=120)
    values: dict[str, str] = {}


class RuleModel(Strict):
    """One rule with where it comes from. The value is judged by RulesModel."""

    value: object
    sources: list[str]
    note: str = ""
