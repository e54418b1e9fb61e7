"""The shape of the files about the practice: escalations, facts, sources, rules."""

from datetime import time
from typing import Literal

from pydantic import Field

from bot.content.schema import Clock, Day, Scalar, Strict


class ReasonModel(Strict):
    """One kind of escalation."""

    title: str
    severity: Literal["emergency", "urgent", "today", "routine"]
    flow: str | None = None
    tell_patient: bool = Field(default=True, strict=True)
    sources: list[str]


class AllowedModel(Strict):
    """Minutes allowed for each step of a nurse."""

    acknowledge: int = Field(strict=True, gt=0)
    reach: int = Field(strict=True, gt=0)
    decide: int = Field(strict=True, gt=0)


class MinutesModel(Strict):
    """The minutes allowed, for every severity there is."""

    emergency: AllowedModel
    urgent: AllowedModel
    today: AllowedModel
    routine: AllowedModel


class EscalationsModel(Strict):
    """All escalations, and the minutes allowed for each severity."""

    minutes: MinutesModel
    reasons: dict[str, ReasonModel]


class FactModel(Strict):
    """A fact that the record may hold."""

    kind: Literal["bool", "number", "text"]
    default: Scalar | None = None
    values: list[Scalar] = Field(default=[])
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
    holidays: list[Day] = Field(default=[])


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
    values: dict[str, str] = Field(default={})


class RuleModel(Strict):
    """One rule with where it comes from. The value is judged by RulesModel."""

    value: object
    sources: list[str]
    note: str = ""


class WishesModel(Strict):
    """What a patient may ask of the chat at any time: the wish, and ways to say it."""

    owner: str
    review_by: Day
    wishes: dict[
        Literal["next", "done", "arrive", "person", "remind", "thanks"], dict[str, list[str]]
    ]
