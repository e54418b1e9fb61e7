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
    """One conversation. A talk without states only holds lines (system, coach_copy, handout).

    `coach`: which copies go to a coach whose level allows them: the `reminder` of a prompt where
    somebody beside the patient can help, the `outcome` of an answer, `both`, or `none`.
    `listed`: false for what the patient would not call a step (language, consent).
    `words`: for a choice, by language, further words that mean it: {booked: {en: ["date set"]}}.
    """

    flow: str
    title: str
    owner: str
    review_by: Day
    priority: Priority = Priority.TEACHING
    health: bool = Field(default=False, strict=True)
    sources: list[str] = []
    start: str | None = None
    states: dict[str, StateModel] = {}
    coach: Literal["reminder", "outcome", "both", "none"] = "none"
    listed: bool = Field(default=True, strict=True)
    labels: dict[str, Texts] = {}
    words: dict[str, dict[str, list[str]]] = {}
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
    """The hospital's countdown for one kind of operation.

    With `surgeon` it holds for that surgeon's patients only; `base` then names the joint's own.
    """

    protocol: str
    title: str
    owner: str
    review_by: Day
    base: str | None = None
    surgeon: str | None = None
    prompts: list[PromptModel]
