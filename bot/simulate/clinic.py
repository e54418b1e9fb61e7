"""One simulated run: the real services on a virtual clock, driven by people and by faults."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import partial

from sqlalchemy.exc import OperationalError

from bot.channels.base import Incoming, Outgoing
from bot.simulate import people
from bot.simulate.faults import STEP, Dice, Endless, ProcessDied, Trouble, WallClock, attach
from bot.simulate.network import CHANNEL, Agenda, Network
from bot.simulate.office import Office, by_day, on_call
from bot.simulate.people import Person
from bot.simulate.pulse import Pulse
from bot.store import claims
from bot.store.engine import open_engine, reading
from bot.wiring import App

START = datetime(2027, 3, 10, 15, tzinfo=UTC)  # four days before the clocks of most zones change
QUIET_DAYS = 2  # after the faults have stopped: all that is due must come right in them
_ROUNDS = 40  # rounds at one instant after which something answers itself for ever
_STUCK = 3  # times that the clock is pushed on by hand before the run is given up


@dataclass(frozen=True, slots=True)
class Written:
    """One message that somebody wrote, whatever became of it."""

    at: datetime
    id: str
    address: str
    text: str
    alarm: bool


@dataclass(frozen=True, slots=True)
class Span:
    """A time in which the service was "down", or its "clock" was wrong."""

    kind: str
    start: datetime
    end: datetime


@dataclass(slots=True)
class Clinic:
    """The run under way. `app` is replaced when its process dies; the database file stays."""

    app: App
    url: str
    dice: Dice
    trouble: Trouble
    days: int
    quiet_days: int = QUIET_DAYS
    clock: WallClock = field(default_factory=lambda: WallClock(START))
    written: list[Written] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)
    people: dict[str, Person] = field(default_factory=dict)
    stuck: list[str] = field(default_factory=list)
    down: bool = False
    agenda: Agenda = field(init=False)
    network: Network = field(init=False)
    office: Office = field(init=False)
    pulse: Pulse = field(init=False)

    def __post_init__(self) -> None:
        """Set up the agenda and the network on the clinic's clock."""
        self.agenda = Agenda(self.clock)
        self.network = Network(self.agenda, self.trouble, self._ring)
        self.office = Office(lambda: self.app, self.agenda, self.dice, self._until_done)
        self._open(self.app)

    def _open(self, app: App) -> None:
        engine = open_engine(self.url)
        attach(engine, self.trouble)
        self.app = App(replace(app.practice, engine=engine), self.clock)
        self.app.connect(self.network)
        self.pulse = Pulse(self.app)

    def _attempt(self, deed: Callable[[], object]) -> bool:
        """Do it in the service's process; False when the process died or the database was busy."""
        if self.down:
            return False
        self.trouble.begun, before = 0, len(self.network.taken)
        try:
            deed()
        except ProcessDied:
            self.app.engine.dispose()
            self._open(self.app)
        except OperationalError:
            pass
        else:
            return True
        with reading(self.app.engine) as connection:
            self.network.answers_unheard(before, claims.keys_in_hand(connection))
        return False

    def _until_done(self, deed: Callable[[], object]) -> None:
        """As a provider, an import or a nurse does: again in a minute, until it is taken."""
        if not self._attempt(deed):
            self.agenda.after(1, lambda: self._until_done(deed))

    def run(self, patients: int) -> None:
        """Play all days, then the quiet ones without faults. Ends early when it stands still."""
        self._until_done(lambda: self.app.care.set_on_call(people.SURGEON, on_call()))
        for place in range(patients):
            self._invite(people.invent(place, START, self.days, self.dice))
        self._plan_outages()
        try:
            self._play(START + timedelta(days=self.days))
            if self.quiet_days:
                self.trouble.on, self.down, self.clock.wrong_by = False, False, timedelta()
                self._play(self.clock.true + timedelta(days=self.quiet_days))
        except Endless as never:
            self.stuck.append(f"{self.clock.true}: one round took {never} transactions")

    def _play(self, until: datetime) -> None:
        idle = 0
        while len(self.stuck) < _STUCK and (moment := self._next()) is not None and moment <= until:
            idle = idle + 1 if moment <= self.clock.true else 0
            self.clock.true = max(moment, self.clock.true)
            if idle > _ROUNDS:
                self.stuck.append(f"{self.clock.true}: {self.pulse.waiting(self.clock())}")
                self.clock.true, idle = self.clock.true + timedelta(minutes=1), 0
            while deed := self.agenda.due():
                deed()
            self._attempt(lambda: self.pulse.beat(self.clock()))
        if len(self.stuck) < _STUCK:
            self.clock.true = until

    def _next(self) -> datetime | None:
        due = None if self.down else self.pulse.next()
        moments = [self.agenda.next(), due and due - self.clock.wrong_by]
        return min((moment for moment in moments if moment is not None), default=None)

    def _invite(self, person: Person) -> None:
        self.people[person.address] = self.people[person.coach_address] = person
        enrolled = self.dice.randrange(0, 24 * 60)
        wish = person.wish()
        self.agenda.after(enrolled, lambda: self._until_done(lambda: self.app.care.enrol(wish)))
        day = self.dice.randrange(2, max(self.days - 3, 3)) * 24 * 60 + self.dice.randrange(0, 900)
        match person.way:
            case "stops" | "returns":
                self.agenda.after(day, lambda: self._write(person, "STOP"))
            case "redated":
                self.agenda.after(day, lambda: self._redate(person))
        if person.way == "returns":
            self.agenda.after(day + 2880, lambda: self._write(person, "START"))
        if person.ill_on is not None:
            text = self.dice.choice(people.ALARMS[person.language])
            ill = person.ill_on * 24 * 60 + self.dice.randrange(0, 900)
            self.agenda.after(ill, lambda: self._write(person, text, alarm=True))
        if person.starts_at is None:
            known = (person.surgery_on - START.date()).days * 24 * 60 - self.dice.randrange(0, 8000)
            self.agenda.after(max(known, 1500), lambda: self.office.enter_start(wish.reference))

    def _redate(self, person: Person) -> None:
        """Scheduling moves the operation, in office hours, to at least four days from now."""
        if not by_day(self.clock.true, person.zone):
            self.agenda.after(60, lambda: self._redate(person))
            return
        later = max(person.surgery_on, self.clock.true.date()) + timedelta(days=4)
        self.office.move(person.wish().reference, later, person.starts_at)

    def _plan_outages(self) -> None:
        for day in range(1, self.days):
            at = START + timedelta(days=day, minutes=self.dice.randrange(0, 1440))
            if self.trouble.strikes("outage", 0.15):
                back = at + timedelta(minutes=self.dice.randrange(60, 360))
                self._span("down", at, back, self._set_down)
            if self.trouble.strikes("clock", 0.2):
                wrong = STEP if self.dice.random() < 0.5 else -STEP
                until = at + timedelta(minutes=90)
                self._span("clock", at, until, partial(self._set_wrong, wrong))

    def _span(
        self, kind: str, start: datetime, end: datetime, turn: Callable[[bool], None]
    ) -> None:
        self.spans.append(Span(kind, start, end))
        self.agenda.at(start, lambda: turn(True))
        self.agenda.at(end, lambda: turn(False))

    def _set_down(self, down: bool) -> None:
        self.down = down

    def _set_wrong(self, by: timedelta, on: bool) -> None:
        self.clock.wrong_by = by if on else timedelta()

    def _write(
        self, person: Person, text: str, *, alarm: bool = False, coach: bool = False
    ) -> None:
        person.written += 1
        address = person.coach_address if coach else person.address
        number = f"{address}.{person.written}"
        self.written.append(Written(self.clock.true, number, address, text, alarm))
        incoming = Incoming(CHANNEL, address, text, number, self.clock.true)
        late = self.dice.randrange(5, 90) if self.trouble.strikes("delay", 0.05) else 0
        for _ in range(2 if self.trouble.strikes("double", 0.05) else 1):
            self.agenda.after(late, lambda: self._until_done(lambda: self.app.handle(incoming)))

    def _ring(self, got: Outgoing) -> None:
        """A phone rings: a patient or coach answers in their way, a nurse follows the case."""
        person = self.people.get(got.address)
        if person is None:
            self.office.ring(got)
            return
        after, coach = people.wait_minutes(person, self.dice), got.address == person.coach_address
        if coach:
            told = people.coach_answer(got, self.dice)
        else:
            told = people.answer(person, got, self.dice)
        for place, text in enumerate(told):
            self.agenda.after(after + place, partial(self._write, person, text, coach=coach))
