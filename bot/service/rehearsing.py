"""Tries one conversation of some content on an invented patient, in a record that is thrown away.

A rehearsal is its moves: the same moves give the same conversation, so nothing has to be kept
between two of them. The patient goes through the same services as a real one, on a clock of its
own; nothing is sent, and the record of the real patients is not opened.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from bot.channels.base import Incoming
from bot.channels.trial import NAME, TrialChannel
from bot.core.flow import FlowBook
from bot.core.protocol import Protocol, Surgery
from bot.core.record import ItemStatus, ThreadLine
from bot.service import dispatch, enrolment, inbound, outbox, views
from bot.service.opening_flow import open_flow, sample_values
from bot.service.practice import Practice

ADDRESS = "rehearsal"
MOST_MOVES = 40
LONGEST_REPLY = 480  # characters; a message of more than three parts is another matter
STARTS_AT, AHEAD = time(10), timedelta(days=21)
STEP = timedelta(minutes=1)
_AWAITED = timedelta(days=3)  # what comes later than this is not waited for


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What is tried. A move is what the patient writes, or "" for letting time pass until the next
    message. `true` are the facts that hold for the patient."""

    flow: str
    on: date
    zone: str
    language: str = "en"
    joint: str = "knee"
    true: frozenset[str] = frozenset()
    moves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """What happened: both sides of the chat, what the nurse would see, what was recorded."""

    lines: tuple[ThreadLine, ...]
    choices: tuple[str, ...]  # that the last message offers
    nurse: tuple[str, ...]
    items: tuple[ItemStatus, ...]
    open: bool  # a question waits for the patient
    waiting: bool  # another conversation will open by itself


def conversations(book: FlowBook) -> tuple[tuple[str, str], ...]:
    """(name, title) of every conversation that can be tried."""
    return tuple(sorted((name, flow.title) for name, flow in book.flows.items() if flow.states))


def rehearse(practice: Practice, wish: Rehearsal) -> Rehearsed:
    """Play the moves. `practice` stands on an empty record of its own.

    Raises LookupError for a conversation that there is not.
    """
    bare = {name: Protocol(name, "", ()) for name in practice.protocols}
    stage = _Stage(replace(practice, protocols=bare), wish)
    stage.begin()
    for number, move in enumerate(wish.moves):
        if move:
            stage.write(move, number)
        else:
            stage.wait()
    return stage.seen()


class _Stage:
    """The invented patient and the clock."""

    def __init__(self, practice: Practice, wish: Rehearsal) -> None:
        self.practice, self.wish = practice, wish
        start = datetime.combine(wish.on, STARTS_AT, ZoneInfo(wish.zone))
        self.now, self.patient, self.before = start.astimezone(UTC), 0, 0

    def begin(self) -> None:
        day = self.wish.on + AHEAD
        surgery = Surgery(self.wish.joint, "left", day, self.wish.zone, time(7, 30))
        self.patient = enrolment.enrol(
            self.practice, self._patient(surgery), "trial", self.now
        ).patient
        self._settle()
        self.before = len(self._lines())
        self.now += STEP
        open_flow(self.practice, self.patient, self.wish.flow, sample_values(day), self.now)
        self._settle()

    def write(self, text: str, number: int) -> None:
        self.now += STEP
        inbound.handle(
            self.practice, Incoming(NAME, ADDRESS, text, f"m{number}", self.now), self.now
        )
        self._settle()

    def wait(self) -> None:
        """Let time pass until something is said."""
        said = len(self._lines())
        until = self.now + _AWAITED
        while (moment := views.next_moment(self.practice.engine)) is not None and moment <= until:
            self.now = max(self.now, moment)
            self._settle()
            if len(self._lines()) > said:
                return

    def seen(self) -> Rehearsed:
        lines = tuple(self._lines()[self.before :])
        chart = views.chart(self.practice, self.patient)
        chat = [line for line in lines if line.to != "nurse"]
        return Rehearsed(
            lines=lines,
            choices=chat[-1].choices if chat else (),
            nurse=tuple(found.sbar for found in views.worklist(self.practice, self.now)),
            items=tuple(chart.items.values()),
            open=chart.conversation.open is not None,
            waiting=bool(chart.conversation.waiting),
        )

    def _patient(self, surgery: Surgery) -> enrolment.Enrolment:
        return enrolment.Enrolment(
            reference=ADDRESS,
            name="Alex Morgan",
            channel=NAME,
            address=ADDRESS,
            surgery=surgery,
            surgeon="Dr. Imani Calloway",
            born=date(surgery.on.year - 72, 4, 2),
            language=self.wish.language,
            facts=dict.fromkeys(self.wish.true, True),
            agreed="paper",
        )

    def _lines(self) -> list[ThreadLine]:
        return views.threads(self.practice.engine, self.patient)

    def _settle(self) -> None:
        while dispatch.tick(self.practice, self.now).busy:
            pass
        outbox.relay(self.practice, {NAME: TrialChannel()}, self.now)
