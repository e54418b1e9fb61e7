"""Content and one person to talk to, for the dialogue's tests."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from functools import cache
from pathlib import Path

from bot.content.load import load_book, load_rules
from bot.core.conversation import (
    Context,
    Conversation,
    Effect,
    Escalate,
    Event,
    Heard,
    PromptDue,
    Record,
    Say,
    TimeUp,
    Turn,
)
from bot.core.dialogue import step
from bot.core.flow import FlowBook
from bot.core.protocol import OfficeHours, Phones, Priority, Rules
from bot.reading.reading import Act, Reading

SHIPPED = Path(__file__).parents[2] / "flows"
NEW_YORK = "America/New_York"
NOON = datetime(2027, 3, 10, 17, 0, tzinfo=UTC)  # noon in New York, five days before surgery
RULES = Rules(
    hospital="Alder Creek Hospital",
    surgeon="Dr. Ana Quill",
    phones=Phones("+1-202-555-0110", "+1-202-555-0111", "+1-202-555-0112"),
    hours=OfficeHours({day: (time(8), time(16, 30)) for day in range(5)}),
)
CONTEXT = Context(RULES, NEW_YORK, facts={"age": 70}, may_ask_coach=True, has_coach=True)


@cache
def shipped_book() -> FlowBook:
    """The content as it ships."""
    return load_book(SHIPPED)


@cache
def shipped_rules() -> Rules:
    """The hospital's rules as they ship."""
    return load_rules(SHIPPED)


def reading(act: Act, **more: object) -> Reading:
    """A reading with its foremost act."""
    return Reading(act, **more)  # type: ignore[arg-type]


@dataclass
class Chat:
    """One conversation, driven step by step, with all that came of it."""

    book: FlowBook
    context: Context = CONTEXT
    now: datetime = NOON
    conversation: Conversation = field(default_factory=Conversation)
    turn: Turn = field(default_factory=lambda: Turn(Conversation()))

    def give(self, event: Event, minutes: float = 1) -> Turn:
        """Let time pass, then give an event."""
        self.now += timedelta(minutes=minutes)
        self.turn = step(self.book, self.conversation, event, self.context, self.now)
        self.conversation = self.turn.conversation
        return self.turn

    def prompt(
        self,
        flow: str,
        priority: Priority = Priority.TEACHING,
        hours: float = 24,
        to: str = "patient",
        key: str = "",
        **values: str,
    ) -> Turn:
        """A planned prompt of one flow is due."""
        closes = self.now + timedelta(hours=hours)
        key = key or f"{flow}:{self.now.date()}"
        return self.give(PromptDue(key, ((flow, values),), to, priority, closes))

    def hear(self, text: str, act: Act = Act.UNCLEAR, by: str = "patient", **more: object) -> Turn:
        """A message is heard, as it was read."""
        return self.give(Heard(reading(act, **more), text, by))

    def wait(self, minutes: float) -> Turn:
        """Time passes in silence; the timer rings."""
        return self.give(TimeUp(), minutes)

    def sleep_until_woken(self) -> Turn:
        """Let exactly the time pass after which the dialogue wants to be woken."""
        assert self.turn.wake_at is not None
        return self.wait((self.turn.wake_at - self.now) / timedelta(minutes=1))

    def with_context(self, **changes: object) -> "Chat":
        """The same chat under other circumstances."""
        return replace(self, context=replace(self.context, **changes))  # type: ignore[arg-type]

    @property
    def at(self) -> tuple[str, str] | None:
        """Flow and state of the open question."""
        question = self.conversation.open
        return (question.flow, question.state) if question else None

    def said(self, to: str = "patient") -> list[tuple[str, str]]:
        """Flow and line of everything said in the last turn."""
        return [(e.flow, e.line) for e in self.turn.effects if isinstance(e, Say) and e.to == to]

    def reasons(self) -> list[str]:
        """Reasons escalated in the last turn, each once, in order."""
        found = [e.reason for e in self.turn.effects if isinstance(e, Escalate)]
        return list(dict.fromkeys(found))

    def records(self) -> dict[str, str]:
        """Items recorded in the last turn."""
        return {e.item: e.value for e in self.turn.effects if isinstance(e, Record)}

    def effects(self, kind: type[Effect]) -> list[Effect]:
        """Effects of one kind in the last turn."""
        return [effect for effect in self.turn.effects if isinstance(effect, kind)]
