"""The working copy of one step: the conversation as changed so far, and the effects so far.

A step is pure seen from outside. Inside, the draft is the one thing that changes, and it is thrown
away when the step has returned its Turn.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from bot.core.changed import replace
from bot.core.consent import AGREED
from bot.core.conversation import (
    Context,
    Conversation,
    Copy,
    Effect,
    Escalate,
    LearnFact,
    OpenQuestion,
    Record,
    Say,
    SetLanguage,
)
from bot.core.flow import Flow, FlowBook, Reason, State
from bot.core.protocol import FactValue, Priority
from bot.core.same import Same

SYSTEM = "system"
COACH_COPY = "coach_copy"
TROUBLE_COPIES = ("alarm", "emergency", "silent", "not_through", "wash_not_done")
SEVERITIES = ("emergency", "urgent", "today", "routine")  # gravest first
COACH_LINES = {  # system lines that are worded differently for the coach
    "stopped": "coach_left",
    "back_on": "coach_joined",
    "help": "coach_help",
    "question_nurse": "coach_nurse",
    "unread_nurse": "coach_nurse",
}
ASKING_ORDER = tuple(Priority)  # safety, time_critical, teaching


@dataclass(slots=True)
class Draft:
    """What one step is working on. `words` and `by` belong to the message heard, if any."""

    book: FlowBook
    context: Context
    now: datetime
    conversation: Conversation
    words: str = ""
    by: str = "patient"
    because: tuple[str, ...] = ()
    heard: bool = False  # the step answers a message, so quiet hours do not apply
    effects: list[Effect] = field(default_factory=list)
    learned: dict[str, FactValue] = field(default_factory=dict)
    raised: list[str] = field(default_factory=list)  # reasons whose own flow is still to open
    known: dict[str, FactValue] = field(default_factory=dict)

    def change(self, **changes: object) -> None:
        """Replace fields of the conversation."""
        old = self.conversation
        for name, value in changes.items():
            if getattr(old, name) != value:
                self.conversation = replace(old, **changes)
                return

    def facts(self, question: OpenQuestion | None = None) -> dict[str, FactValue]:
        """Facts that conditions may test: defaults, the record, this moment, this step."""
        facts = {**self._before(), "language": self.conversation.language}
        if question is not None and "reason" in question.values:
            facts["reason"] = question.values["reason"]
        if question is not None and "medicine" in question.values:
            facts["instruction_on_file"] = bool(question.values.get("instruction"))
        return facts | self.learned

    def _before(self) -> Mapping[str, FactValue]:
        """What was known before this step, put together once."""
        if not self.known:
            context = self.context
            self.known = {**self.book.fact_defaults, **context.facts}
            self.known |= {"office_open": context.office_open, "has_coach": context.has_coach}
            self.known["dawn_agreed"] = context.dawn_agreed
            if context.days_left is not None:
                self.known["days_left"] = context.days_left
        return self.known

    def say(self, question: OpenQuestion, line: str) -> None:
        """Say a line of the question's flow to everyone who must hear it."""
        self._say(question, line, ())

    def ask(self, question: OpenQuestion, line: str) -> None:
        """Put a question, with the choices of its state, to the person whose thread this is."""
        state = self.state_of(question)
        self._say(question, line, state.choices)

    def _say(self, question: OpenQuestion, line: str, choices: tuple[str, ...]) -> None:
        flow = self.book.flows[question.flow]
        for to in self._hearers(flow.name):
            self.effects.append(
                Say(to, flow.name, line, question.values, choices, flow.health, question.prompt)
            )

    def _hearers(self, flow: str) -> tuple[str, ...]:
        """The person whose thread it is; an alarm that the coach raised is heard by both."""
        who = self.conversation.who
        both = self.heard and self.by != who and is_alarm_flow(self.book, flow)
        return (self.by, who) if both else (who,)

    def say_system(
        self,
        line: str,
        text: str | None = None,
        to: str | None = None,
        values: Mapping[str, str] | None = None,
    ) -> None:
        """Say a line of the flow `system`, or a ready text, to the writer or to `to`."""
        hearer = to or (self.by if self.heard else self.conversation.who)
        own = COACH_LINES.get(line, line) if hearer == "coach" else line
        self.effects.append(Say(hearer, SYSTEM, own, values or {}, text=text))

    def flow_of(self, question: OpenQuestion) -> Flow:
        """The question's flow."""
        return self.book.flows[question.flow]

    def state_of(self, question: OpenQuestion) -> State:
        """The question's state."""
        return self.flow_of(question).states[question.state]

    def record(self, question: OpenQuestion, pairs: tuple[tuple[str, str], ...]) -> None:
        """Record countdown items; names may hold {n} and the like."""
        for item, value in pairs:
            self.effects.append(Record(fill(item, question.values), value, self.by))

    def learn(self, fact: str, value: str) -> None:
        """Keep a fact, for the record and for the rest of this step."""
        text = fill(value, {"text": self.words})
        self.learned[fact] = fact_value(text)
        self.effects.append(LearnFact(fact, text))
        if fact == "language" and text in self.book.languages:
            self.change(language=text)
            self.effects.append(SetLanguage(text))
        if fact == AGREED:  # without consent the messages pause; an alarm is still answered
            self.change(paused=text == "false")

    def escalate(self, reason: str, answers: Mapping[str, str] | None = None) -> None:
        """Open an escalation or join the open one; a reason not in the book still escalates."""
        self.effects.append(Escalate(reason, self.words, self.because, answers or {}))
        self.change(escalated=self.conversation.escalated | {reason})

    def copy(
        self,
        lines: tuple[str, ...],
        values: Mapping[str, str],
        health: bool,
        discreet: str | None = None,
    ) -> None:
        """Copy to the coach the first of `lines` that has a wording; never of the coach's own."""
        copies = self.book.flows.get(COACH_COPY)
        found = next((line for line in lines if copies and line in copies.wording), None)
        if found is not None and self.conversation.who == "patient":
            trouble = found.endswith(TROUBLE_COPIES)
            self.effects.append(Copy(found, values, health, trouble, discreet))


def fill(template: str, values: Mapping[str, str]) -> str:
    """Put values into {names}; a name without a value stays, so that it is seen."""
    for name, value in values.items():
        template = template.replace("{" + name + "}", value)
    return template


def fact_value(text: str) -> FactValue:
    """Read a learned value as the kind it is: true, false, a whole number, or words."""
    if text in ("true", "false"):
        return text == "true"
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else text


def severity(book: FlowBook, reason: str) -> int:
    """Rank of a reason, 0 the gravest. An unknown reason ranks as urgent: doubt never hides it."""
    found = book.reasons.get(reason)
    return SEVERITIES.index(found.severity) if found else SEVERITIES.index("urgent")


def is_alarm_flow(book: FlowBook, flow: str) -> bool:
    """True for a flow that some reason opens."""
    return flow in _alarm_flows(Same(book.reasons))


@lru_cache(maxsize=16)
def _alarm_flows(reasons: Same[Mapping[str, Reason]]) -> frozenset[str | None]:
    return frozenset(reason.flow for reason in reasons.it.values())


def flow_severity(book: FlowBook, flow: str) -> int:
    """The gravest reason that opens this flow; past the last rank when none does."""
    ranks = [severity(book, name) for name, why in book.reasons.items() if why.flow == flow]
    return min(ranks, default=len(SEVERITIES))


def emergency_open(book: FlowBook, conversation: Conversation) -> bool:
    """True while an emergency of this patient is not closed by a nurse."""
    return any(severity(book, reason) == 0 for reason in conversation.escalated)


def items_of(flow: Flow, values: Mapping[str, str]) -> tuple[str, ...]:
    """Every countdown item that the flow can record, filled in, each once."""
    pairs = [pair for state in flow.states.values() for pair in _recorded(state)]
    return tuple(dict.fromkeys(fill(item, values) for item, _ in pairs))


def _recorded(state: State) -> tuple[tuple[str, str], ...]:
    return state.record + tuple(p for reply in state.replies.values() for p in reply.record)


def asks(flow: Flow) -> bool:
    """True when the flow can wait for an answer."""
    return any(state.asked is not None for state in flow.states.values())
