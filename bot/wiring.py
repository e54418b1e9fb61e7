"""Joins the parts: the only place that knows the clock, makes the engine and loads the content.

    app = build("sqlite:///data/countdown.db")          # migrates the database, loads flows/
    app.connect(RecordingChannel(app.clock, "sms"))     # any number of channels, by name
    who = app.care.enrol(Enrolment("P-1", "Rosalind Vale", "sms", "+12025550150", surgery,
                                   surgeon="Dr. Ana Quill"))
    app.run_due()                                       # tick, then relay what the tick queued
    app.handle(Incoming("sms", "+12025550150", "yes", "id-1", app.clock()))
    app.threads(who.patient), app.worklist()            # what was said; open escalations (SBAR)
    app.care.acknowledge(case_id, "Nurse Ortiz")        # reach_patient, decide, close follow

With a clock of your own, move it to `app.next_moment()` and call `app.run_due()` again.
"""

import random
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path

from sqlalchemy import Engine

from bot.channels.base import Channel, Delivery, Incoming
from bot.clock import system_clock
from bot.content.answers import load_answers
from bot.content.lexicon import load_lexicon
from bot.content.load import load_book, load_protocols, load_rules
from bot.content.medicines import is_medicine
from bot.content.snapshot import Snapshot, laid_out, snapshot
from bot.content.surgeons import load_surgeons
from bot.core.planned import NotPlanned, PlannedPrompt
from bot.core.record import ItemStatus, OnCall, ThreadLine
from bot.reading.answers import AnswerFinder
from bot.reading.reader import read
from bot.reading.reading import Asked, Reading
from bot.service import dispatch, inbound, outbox, publishing, receipts, views
from bot.service.care import Care
from bot.service.chart import Chart
from bot.service.outcomes import Relay
from bot.service.practice import Practice
from bot.service.rounds import Tick
from bot.service.together import Together
from bot.service.touched import Touched, touched
from bot.service.views import Worklist
from bot.store.engine import open_engine
from bot.store.schema import upgrade

Clock = Callable[[], datetime]
FLOWS = Path(__file__).resolve().parents[1] / "flows"


def new_secret() -> str:
    """256 random bits from the system, as text: what a session or an invitation is known by."""
    return secrets.token_urlsafe(32)


def new_link_code() -> str:
    """192 random bits as 32 signs that Telegram allows in a link (at most 64 of them)."""
    return secrets.token_urlsafe(24)


def dice(seed: int) -> random.Random:
    """Repeatable chance for invented people: the same seed gives the same throws."""
    return random.Random(seed)  # noqa: S311 - nothing to keep secret


@dataclass(slots=True)
class App:
    """The whole service on one database. Every method that needs the time asks `clock` once."""

    practice: Practice
    clock: Clock
    channels: dict[str, Channel] = field(default_factory=dict)
    flows: Path = FLOWS  # the content that ships
    telegram_bot: str | None = None  # the bot's name, for links that open a chat with it
    together: Together = field(default_factory=Together)
    worker: int | None = None  # as whom this process is written down; one thread of it relays

    @property
    def care(self) -> Care:
        """What staff and imports may do."""
        return Care(self.practice, self.clock, new_link_code)

    @property
    def engine(self) -> Engine:
        """The database."""
        return self.practice.engine

    def enrolment_link(self, code: str) -> str | None:
        """The link that opens the chat with `code`; None while no bot's name is configured."""
        return f"https://t.me/{self.telegram_bot}?start={code}" if self.telegram_bot else None

    def connect(self, channel: Channel) -> None:
        """Add a channel and begin to take its messages and receipts."""
        self.channels[channel.name] = channel
        channel.start(self.handle, self.delivered)

    def close(self) -> None:
        """Let go of the channels and the database."""
        for channel in self.channels.values():
            channel.close()
        self.engine.dispose()

    def handle(self, incoming: Incoming) -> None:
        """Take in one message; when this returns it is stored with all its effects."""
        if self.engine.dialect.name == "sqlite":
            now = self.clock
            self.together.hand_in(incoming, lambda m: inbound.handle_all(self.practice, m, now()))
        else:  # PostgreSQL joins the commits of those who come together by itself
            inbound.handle(self.practice, incoming, self.clock())

    def delivered(self, delivery: Delivery) -> None:
        """Take in one delivery receipt."""
        receipts.receipt(self.practice, delivery, self.clock())

    def tick(self) -> Tick:
        """Handle everything that is due now; what is to be sent waits in the outbox."""
        self.follow()
        most = dispatch.EVERYTHING if self.worker is None else dispatch.ROUND
        return dispatch.tick(self.practice, self.clock(), most)

    def relay(self) -> Relay:
        """Send what waits in the outbox and may be tried now."""
        done = outbox.relay(self.practice, self.channels, self.clock(), self.worker, self.clock)
        receipts.take_up_early(self.practice, self.clock())
        return done

    def run_due(self) -> Tick:
        """Tick, then relay."""
        done = self.tick()
        self.relay()
        return done

    def follow(self) -> None:
        """Take up the content that this or another process published meanwhile."""
        if publishing.live_id(self.engine) != self.practice.publication:
            fresh = live_practice(self.engine, self.flows)
            self.practice = replace(fresh, on_call=self.practice.on_call)

    def publish(self, new: Snapshot, who: str, note: str) -> publishing.Published:
        """Let new content go live, and plan every countdown anew by it."""
        shipped = snapshot(self.flows)
        done = publishing.publish(self.engine, new, shipped, who, note, self.clock())
        self._live_anew()
        return done

    def go_back(self, who: str, note: str = "") -> publishing.Published:
        """Let the content that was live before go live again."""
        done = publishing.go_back(self.engine, who, note, self.clock())
        self._live_anew()
        return done

    def touched(self, new: Snapshot) -> tuple[Touched, ...]:
        """Every patient whose messages would change if this content went live now."""
        with laid_out(new.files) as folder:
            draft = load_practice(self.engine, folder)
        return tuple(touched(self.practice, draft, self.clock()))

    def _live_anew(self) -> None:
        self.follow()
        publishing.plan_everyone_anew(self.practice, self.clock())

    def next_moment(self) -> datetime | None:
        """The earliest instant at which `run_due` will have something to do; None when idle."""
        return views.next_moment(self.engine)

    def threads(self, patient: int | None = None) -> list[ThreadLine]:
        """All messages in and out, in order of time."""
        return views.threads(self.engine, patient)

    def worklist(self, patient: int | None = None, *, closed: bool = False) -> list[Worklist]:
        """Open escalations, the most pressing first; with `closed` all of them."""
        return views.worklist(self.practice, self.clock(), patient=patient, closed=closed)

    def chart(self, patient: int) -> Chart:
        """Everything on record about one patient."""
        return views.chart(self.practice, patient)

    def items(self, patient: int) -> dict[str, ItemStatus]:
        """What is recorded in a patient's countdown."""
        return views.items(self.practice, patient)

    def planned(self, patient: int) -> tuple[PlannedPrompt, ...]:
        """The prompts still to come."""
        return views.planned(self.practice, patient)

    def missed(self, patient: int) -> list[NotPlanned]:
        """What could not be asked or said in time."""
        return views.missed(self.practice, patient)

    def everyone(self) -> list[int]:
        """All patients' ids."""
        return views.everyone(self.engine)

    def find(self, reference: str) -> int | None:
        """The patient with the hospital's own reference."""
        return views.find(self.engine, reference)


def build(
    url: str = "sqlite://",
    *,
    clock: Clock = system_clock,
    flows: Path = FLOWS,
    on_call: tuple[OnCall, ...] | None = None,
) -> App:
    """Open and migrate the database at `url` and load the content of `flows`.

    Raises ContentFaults, LexiconFault or AnswerFaults when the content cannot be used.
    """
    engine = open_engine(url)
    upgrade(engine)
    practice = live_practice(engine, flows)
    practice = replace(practice, on_call=on_call) if on_call else practice
    return App(practice, clock, flows=flows)


def live_practice(engine: Engine, flows: Path = FLOWS) -> Practice:
    """The content that is live: published in this store, or else the one in `flows`.

    What chats under way began with and is live no longer comes with it.
    """
    found = publishing.live_files(engine)
    if found is None:
        practice = load_practice(engine, flows)
    else:
        live, content = found
        with laid_out(content.files) as folder:
            practice = replace(load_practice(engine, folder), publication=live.id)
    retired = publishing.retired_flows(engine, practice.book)
    return replace(practice, book=replace(practice.book, retired=retired))


def staged(content: Snapshot) -> Practice:
    """Content on a record of its own in memory, to be tried. Raises as `build` does."""
    engine = open_engine("sqlite://")
    upgrade(engine)
    with laid_out(content.files) as folder:
        return load_practice(engine, folder)


def load_practice(engine: Engine, flows: Path = FLOWS) -> Practice:
    """The content of a directory and the reader, on an engine."""
    book = load_book(flows)
    lexicon = load_lexicon(flows / "lexicon")
    finder = AnswerFinder(load_answers(flows / "answers.yaml"), is_medicine=is_medicine)

    def understand(text: str, asked: Asked, language: str) -> Reading:
        return read(text, asked, lexicon, language=language)

    def answer(text: str, language: str) -> str | None:
        found = finder.find(text, language)
        escalates = found is None or found.entry.escalate  # then a nurse answers
        return None if escalates or found is None else found.entry.answer[language]

    known = lru_cache(maxsize=2048)  # most replies are one of a few words
    protocols, rules, own = load_protocols(flows), load_rules(flows), load_surgeons(flows)
    return Practice(engine, book, protocols, rules, known(understand), known(answer), own)
