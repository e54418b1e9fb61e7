"""A story as data: an invented patient, what they answer, what happens when, what must come of it.

Times in a scenario file are local to the scenario's zone and written without an offset.
"""

from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from bot.content.yaml_tree import TreeFault, tree


class ScenarioFault(ValueError):
    """A scenario file that cannot be played, with the file and the place."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class HoldIn(_Strict):
    """A medicine hold, as the prescriber gave it."""

    medicine: str
    last_dose_on: date
    prescriber: str
    instruction: str = ""


class PatientIn(_Strict):
    """The invented patient."""

    name: str
    phone: str
    born: date
    language: Literal["en", "es"] = "en"
    consent: str = "paper"  # how they agreed before the first message; "": they are asked by text
    facts: dict[str, bool | int | str] = {}
    holds: tuple[HoldIn, ...] = ()


class SurgeryIn(_Strict):
    """The planned operation."""

    joint: Literal["hip", "knee"]
    side: Literal["left", "right"]
    on: date
    starts_at: time | None = None
    surgeon: str = "Dr. Imani Calloway"


class CoachIn(_Strict):
    """The invented support person."""

    name: str
    phone: str
    copies: Literal["everything", "reminders", "trouble_only"] = "reminders"
    language: Literal["en", "es"] = "en"
    named_by_patient: bool = False  # in the chat, instead of at enrolment


class SecondIn(_Strict):
    """A second invented patient, who uses the same telephone; staff allowed it."""

    name: str
    born: date
    surgery: SurgeryIn
    language: Literal["en", "es"] = "en"


class NurseAct(_Strict):
    """Something the nurse does with the newest open escalation about `about`, if one is."""

    do: Literal["acknowledge", "reached", "dispose", "close", "note"]
    about: str  # one of the escalation's reasons
    by: str = "Nurse Adeyemi"
    note: str = ""
    disposition: str = ""
    words: str | None = None  # what the patient is told of the decision, in the nurse's own words
    recheck_at: datetime | None = None  # local, for `watch`


class RecordAct(_Strict):
    """Something staff enter in the patient's record."""

    by: str = "Nurse Adeyemi"
    pause: bool = False
    resume: bool = False
    back_in: str | None = None  # the patient's words when they came back by telephone
    hold: HoldIn | None = None
    facts: dict[str, bool | int | str] = {}
    done: str | None = None  # an item that the patient told staff about
    not_needed: str | None = None  # an item that a clinician took off the list


class SurgeryChange(_Strict):
    """The schedule changes: a new day, a start time, the side or joint on record, or cancelled."""

    on: date | None = None
    starts_at: time | None = None
    side: Literal["left", "right"] | None = None
    joint: Literal["hip", "knee"] | None = None
    cancelled: bool = False
    reason: str = ""


class StoryEvent(_Strict):
    """One thing that happens at one time. Exactly one of the kinds is given."""

    at: datetime
    patient: str | None = None
    coach: str | None = None
    nurse: NurseAct | None = None
    surgery: SurgeryChange | None = None
    record: RecordAct | None = None
    note: str | None = None

    def model_post_init(self, context: object, /) -> None:
        """Refuse an event that is nothing, or two things."""
        kinds = ("patient", "coach", "nurse", "surgery", "record", "note")
        given = [kind for kind in kinds if getattr(self, kind)]
        if len(given) != 1:
            raise ValueError(f"an event is exactly one of {', '.join(kinds)}: {given}")


class Expect(_Strict):
    """What must be true at the end."""

    items: dict[str, str] = {}
    items_by: dict[str, str] = {}  # who confirmed an item: patient, coach, or a name
    escalations: tuple[str, ...] = ()  # the reason that opened each case, in order; nothing else
    dispositions: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()  # stand in the log of the first case, in this order
    told_in_turn: tuple[str, ...] = ()  # who on call was told of the first case, in order
    reaches: tuple[str, ...] = ()  # each must stand in some case's log or summary
    surgery_on: date | None = None
    stopped: bool = False  # the patient has no messages any more
    paused: bool = False
    patient_hears_nothing_after: datetime | None = None  # local
    coach_hears_nothing_after: datetime | None = None  # local
    patient_hears: tuple[str, ...] = ()  # each must stand in some message to the patient, in order
    coach_hears: tuple[str, ...] = ()
    coach_never_hears: tuple[str, ...] = ()
    patient_never_hears: tuple[str, ...] = ()
    open_escalations: int = 0
    second_escalations: tuple[str, ...] = ()  # the same, of the second patient


class Scenario(_Strict):
    """A whole story."""

    scenario: str
    title: str
    about: str
    zone: str = "America/New_York"
    enrolled: datetime
    until: datetime
    patient: PatientIn
    surgery: SurgeryIn
    coach: CoachIn | None = None
    second: SecondIn | None = None
    like: str | None = None  # another story in the folder, whose answers this one starts from
    answer_after_minutes: int = Field(default=9, ge=1)
    answers: dict[str, str | list[str | None] | None] = {}
    coach_answers: dict[str, str | list[str | None] | None] = {}
    story: tuple[StoryEvent, ...] = ()
    expect: Expect = Expect()

    def instant(self, local: datetime) -> datetime:
        """A local time of this story as a UTC instant."""
        return local.replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)


def load_scenario(path: Path) -> Scenario:
    """The story in `path`; raises ScenarioFault naming the file and the place."""
    try:
        raw = tree(path.read_text(encoding="utf-8"))
        story = Scenario.model_validate(raw)
    except TreeFault as fault:
        raise ScenarioFault(f"{path}:{fault.line}: {fault.problem}") from fault
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ".".join(str(step) for step in first["loc"])
        raise ScenarioFault(f"{path}: {place}: {first['msg']}") from fault
    return _with_borrowed(story, path) if story.like else story


def _with_borrowed(story: Scenario, path: Path) -> Scenario:
    """The story with the answers of the one that it is like; its own answers come first."""
    other = path.with_name(f"{story.like}.yaml")
    if not other.exists():
        raise ScenarioFault(f"{path}: like: there is no {other.name} in this folder.")
    lender = load_scenario(other)
    answers = {**lender.answers, **story.answers}
    coachs = {**lender.coach_answers, **story.coach_answers}
    return story.model_copy(update={"answers": answers, "coach_answers": coachs})


def list_scenarios(folder: Path) -> Mapping[str, Scenario]:
    """All stories in `folder`, by name."""
    stories = [load_scenario(path) for path in sorted(folder.glob("*.yaml"))]
    return {story.scenario: story for story in stories}
