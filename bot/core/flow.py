"""A conversation as data: a finite-state machine read from `flows/talks/`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta

from bot.core.protocol import FactTest, Priority
from bot.reading.reading import Asked


@dataclass(frozen=True, slots=True)
class Reply:
    """What follows one kind of reply in one state."""

    go: str | None = None  # next state; None stays and keeps the question open
    say: str | None = None  # wording key said on the way
    record: tuple[tuple[str, str], ...] = ()  # (item, value)
    learn: tuple[tuple[str, str], ...] = ()  # (fact, value); "{text}" = the patient's words
    escalate: str | None = None  # escalation reason
    wait_minutes: int = 0  # ask the same question again after this long ("later")


@dataclass(frozen=True, slots=True)
class Silence:
    """The ladder for a question left unanswered. Minutes count from the previous rung."""

    nudge_after: int
    nudges: int = 1
    coach_after: int | None = None  # then the coach is asked, if consented
    nurse_after: int | None = None  # then the nurse sees it
    escalate: str | None = None  # reason shown to the nurse; None: the flow just ends


@dataclass(frozen=True, slots=True)
class State:
    """One state. It waits for an answer when `asked` is set; otherwise it passes on or ends."""

    id: str
    say: str | None = None
    asked: Asked | None = None
    choices: tuple[str, ...] = ()  # reply keys offered as 1, 2, 3...
    replies: Mapping[str, Reply] = field(default_factory=dict)  # reply key -> what follows
    silence: Silence | None = None
    record: tuple[tuple[str, str], ...] = ()
    escalate: str | None = None
    go: str | None = None  # a state that does not wait passes on to this one
    branch: tuple[tuple[tuple[FactTest, ...], str], ...] = ()  # first condition that holds wins
    starts: tuple[tuple[str, int], ...] = ()  # (flow, minutes later) queued on entering
    end: str | None = None  # the flow ends here with this outcome
    source_line: int = 0


@dataclass(frozen=True, slots=True)
class Flow:
    """One conversation, in every language, with its sources and owner."""

    name: str
    title: str
    start: str
    states: Mapping[str, State]
    wording: Mapping[str, Mapping[str, str]]  # wording key -> language -> text
    labels: Mapping[str, Mapping[str, str]]  # reply key -> language -> button / numbered label
    sources: tuple[str, ...] = ()  # ids in flows/sources.yaml
    priority: Priority = Priority.TEACHING
    health: bool = False  # replies and copies of this flow are health answers (coach consent)
    coach: str = "none"  # which copies a coach gets: "reminder", "outcome", "both", "none"
    listed: bool = True  # told to the patient who asks what is done
    words: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    # choice -> language -> further words that mean it, plain (no case, accents, signs)
    revision: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    """One kind of escalation: how grave, how long a nurse may take, what the nurse reads."""

    name: str
    title: str
    severity: str  # "emergency", "urgent", "today", "routine"
    flow: str | None = None  # conversation opened with the patient at once
    tell_patient: bool = True


@dataclass(frozen=True, slots=True)
class Allowed:
    """How long a nurse may take: to acknowledge, then to reach the patient, then to decide."""

    acknowledge: timedelta
    reach: timedelta
    decide: timedelta


@dataclass(frozen=True, slots=True)
class FlowBook:
    """All the content of one published version."""

    flows: Mapping[str, Flow]
    reasons: Mapping[str, Reason]
    fact_defaults: Mapping[str, bool | int | str] = field(default_factory=dict)
    languages: tuple[str, ...] = ("en", "es")
    allowed: Mapping[str, Allowed] = field(default_factory=dict)  # severity -> minutes for a nurse
    wishes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # wish -> ways to say it
    retired: Mapping[tuple[str, str], "Flow"] = field(default_factory=dict)
    # (flow, revision) -> the flow as it was: for conversations that began on it
    machines: Mapping[str, object] = field(default_factory=dict, compare=False)  # core/machine.py
