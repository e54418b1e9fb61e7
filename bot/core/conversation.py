"""Where one patient's chat stands, the events that move it, and the effects of a move.

A step is pure: (conversation, event, now) -> Turn. The shell stores the new conversation and turns
every effect into a row, in one transaction; sending happens later, from the outbox.
"""

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime

from bot.core.protocol import FactValue, Priority, Rules
from bot.core.value import value
from bot.reading.reading import Reading


@value
class OpenQuestion:
    """The one question that is open."""

    flow: str
    revision: str
    state: str
    asked_at: datetime
    priority: Priority = Priority.TEACHING
    prompt: str | None = None  # key of the planned prompt that opened it
    values: Mapping[str, str] = field(default_factory=dict)  # e.g. wash number, medicine
    unread: int = 0  # unclear replies so far
    nudges: int = 0
    rung: str = "patient"  # "patient", "coach", "nurse": who is being waited for
    rung_at: datetime | None = None  # when that rung began
    closes: datetime | None = None  # stale after this: no more nudges, the nurse is told at once
    ask_again_at: datetime | None = None  # the patient said "later"
    answered: str | None = None  # reply key, once it is closed; None: nobody answered


@value
class WaitingFlow:
    """A conversation that waits its turn."""

    flow: str
    not_before: datetime
    priority: Priority = Priority.TEACHING
    closes: datetime | None = None  # not opened after this
    prompt: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)


@value
class Conversation:
    """One patient's chat. `version` guards against two writers.

    `coach` is the coach's own thread (their prompts and questions), kept inside the patient's so
    that both change in one transaction; it has no coach of its own.
    """

    language: str = "en"
    open: OpenQuestion | None = None
    interrupted: tuple[OpenQuestion, ...] = ()  # newest last; comes back after an alarm
    waiting: tuple[WaitingFlow, ...] = ()
    stopped: bool = False  # the patient opted out
    paused: bool = False  # staff stopped the messages
    escalated: frozenset[str] = frozenset()  # reasons of the escalation now open
    version: int = 0
    who: str = "patient"  # whose thread this is: "patient" or "coach"
    recent: tuple[OpenQuestion, ...] = ()  # closed at their `rung_at`, newest last; correctable
    unread: int = 0  # unclear messages in a row while nothing was open
    coach: "Conversation | None" = None


@value
class Context:
    """What a step may look at beside the conversation. The shell reads it from the record.

    `facts` hold the patient's facts (defaults come from the flow book). `values` fill the texts.
    `days_left` counts local calendar days to surgery; None when there is no date.
    """

    rules: Rules
    zone: str  # IANA name of the hospital's zone
    facts: Mapping[str, FactValue] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    done: frozenset[str] = frozenset()
    office_open: bool = True
    has_coach: bool = False
    may_ask_coach: bool = False  # the patient consented to the coach being asked
    dawn_agreed: bool = False
    days_left: int | None = None
    coming: tuple[tuple[str, datetime], ...] = ()  # flows planned next, soonest first


@value
class PromptDue:
    """A planned prompt's time has come. `parts` are (flow, values); several when merged."""

    prompt: str
    parts: tuple[tuple[str, Mapping[str, str]], ...]
    to: str
    priority: Priority
    closes: datetime


@value
class Heard:
    """A message came in and was read. `by` is "patient" or "coach"."""

    reading: Reading
    text: str
    by: str = "patient"
    answer: str | None = None  # ready answer to a question, in the writer's language


@value
class TimeUp:
    """A timer rang: look at nudges, silence and waiting flows at `now`."""


Event = PromptDue | Heard | TimeUp


@value
class Say:
    """A message to send. The text is made later, from the wording and the patient's values."""

    to: str  # "patient" or "coach"
    flow: str
    line: str  # wording key
    values: Mapping[str, str] = field(default_factory=dict)
    choices: tuple[str, ...] = ()  # reply keys to offer, in order
    health: bool = False  # a copy of this counts as a health answer
    prompt: str | None = None
    text: str | None = None  # ready text (an answer): used instead of the wording line


@value
class Copy:
    """A copy for the coach of what the patient was told or answered; consent decides if it goes."""

    line: str  # wording key in the flow "coach_copy"
    values: Mapping[str, str]
    health: bool
    trouble: bool = False  # the patient is silent or in trouble
    discreet: str | None = None  # the line for a coach who may not see health answers


@value
class Record:
    """A countdown item changed: done, not_done, not_needed, ..."""

    item: str
    value: str
    by: str = "patient"


@value
class LearnFact:
    """The patient told a fact that the record should keep."""

    fact: str
    value: str


@value
class Escalate:
    """Open an escalation, or join the one that is open."""

    reason: str
    words: str  # the patient's own words
    because: tuple[str, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)  # since when, how high, where


@value
class SetStopped:
    """The patient opted out (True) or came back (False)."""

    stopped: bool
    who: str = "patient"  # or "coach": only the coach's own messages stop


@value
class SetLanguage:
    """The patient chose a language."""

    language: str


Effect = Say | Copy | Record | LearnFact | Escalate | SetStopped | SetLanguage


@value
class Turn:
    """The outcome of one step. `wake_at` is when TimeUp must next be given, or None."""

    conversation: Conversation
    effects: tuple[Effect, ...] = ()
    wake_at: datetime | None = None
