"""One simulated run: the real services on a virtual clock, driven by people and by faults."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from sqlalchemy.exc import OperationalError

from bot.channels.base import Incoming, Outgoing
from bot.core.escalation import Disposition, NotAllowed
from bot.core.record import OnCall
from bot.simulate import people
from bot.simulate.faults import STEP, Dice, ProcessDied, Trouble, WallClock, attach
from bot.simulate.network import CHANNEL, Agenda, Network
from bot.simulate.people import Person
from bot.store.engine import open_engine
from bot.wiring import App

START = datetime(2027, 2, 8, 15, tzinfo=UTC)
QUIET_DAYS = 2  # after the faults have stopped: all that is due must come right in them
_CASE = re.compile(r"Escalation (\d+)")
_ROUNDS = 40  # rounds at one instant after which something answers itself for ever


@dataclass(frozen=True, slots=True)
class Written:
    """One message that somebody wrote, whatever became of it."""

    at: datetime
    id: str
    address: str
    text: str
    alarm: bool


@dataclass(slots=True)
class Clinic:
    """The run under way. `app` is replaced when its process dies; the database file stays."""

    app: App
    url: str
    dice: Dice
    trouble: Trouble
    days: int
    clock: WallClock = field(default_factory=lambda: WallClock(START))
    written: list[Written] = field(default_factory=list)
    people: dict[str, Person] = field(default_factory=dict)
    stuck: int = 0
    down: bool = False
    agenda: Agenda = field(init=False)
    network: Network = field(init=False)

    def __post_init__(self) -> None:
        """Set up the agenda and the network on the clinic's clock."""
        self.agenda = Agenda(self.clock)
        self.network = Network(self.agenda, self.trouble, self._ring)
        self._open(self.app)

    def _open(self, app: App) -> None:
        engine = open_engine(self.url)
        attach(engine, self.trouble)
        self.app = App(replace(app.practice, engine=engine), self.clock)
        self.app.connect(self.network)

    def _attempt(self, deed: Callable[[], object]) -> bool:
        """Do it in the service's process; False when the process died or the database was busy."""
        if self.down:
            return False
        try:
            deed()
        except ProcessDied:
            self.network.answer_unheard()
            self.app.engine.dispose()
            self._open(self.app)
            return False
        except OperationalError:
            self.network.answer_unheard()
            return False
        return True

    def _until_done(self, deed: Callable[[], object]) -> None:
        """As a provider, an import or a nurse does: again in a minute, until it is taken."""
        if not self._attempt(deed):
            self.agenda.after(1, lambda: self._until_done(deed))

    def run(self, patients: int) -> None:
        """Play all days, then the quiet ones without faults."""
        nurses = tuple(OnCall(name, CHANNEL, address) for name, address in people.NURSES)
        self._until_done(lambda: self.app.care.set_on_call(people.SURGEON, nurses))
        for place in range(patients):
            self._invite(people.invent(place, START, self.days, self.dice))
        self._plan_outages()
        self._play(START + timedelta(days=self.days))
        self.trouble.on, self.down, self.clock.wrong_by = False, False, timedelta()
        self._play(START + timedelta(days=self.days + QUIET_DAYS))

    def _play(self, until: datetime) -> None:
        idle = 0
        while (moment := self._next()) is not None and moment <= until:
            idle = idle + 1 if moment <= self.clock.true else 0
            self.clock.true = max(moment, self.clock.true)
            if idle > _ROUNDS:
                self.stuck, idle = self.stuck + 1, 0
                self.clock.true += timedelta(minutes=1)
            while deed := self.agenda.due():
                deed()
            self._attempt(self.app.run_due)
        self.clock.true = until

    def _next(self) -> datetime | None:
        due = None if self.down else self.app.next_moment()
        moments = [self.agenda.next(), due and due - self.clock.wrong_by]
        return min((moment for moment in moments if moment is not None), default=None)

    def _invite(self, person: Person) -> None:
        self.people[person.address] = person
        enrolled = self.dice.randrange(0, 24 * 60)
        wish = person.wish()
        self.agenda.after(enrolled, lambda: self._until_done(lambda: self.app.care.enrol(wish)))
        day = self.dice.randrange(2, max(self.days - 3, 3)) * 24 * 60 + self.dice.randrange(0, 900)
        match person.way:
            case "stops" | "returns":
                self.agenda.after(day, lambda: self._write(person, "STOP"))
            case "ill":
                text = self.dice.choice(people.ALARMS[person.language])
                self.agenda.after(day, lambda: self._write(person, text, alarm=True))
            case "redated":
                self.agenda.after(day, lambda: self._until_done(lambda: self._redate(person)))
        if person.way == "returns":
            self.agenda.after(day + 2880, lambda: self._write(person, "START"))

    def _redate(self, person: Person) -> None:
        patient = self.app.find(person.wish().reference)
        later = max(person.surgery_on, self.clock.true.date()) + timedelta(days=4)
        if patient is not None:
            self.app.care.move_surgery(patient, later, "Scheduling")

    def _plan_outages(self) -> None:
        for day in range(1, self.days):
            at = START + timedelta(days=day, minutes=self.dice.randrange(0, 1440))
            if self.trouble.strikes("outage", 0.15):
                self.agenda.at(at, lambda: self._set_down(down=True))
                back = at + timedelta(minutes=self.dice.randrange(60, 360))
                self.agenda.at(back, lambda: self._set_down(down=False))
            if self.trouble.strikes("clock", 0.2):
                wrong = STEP if self.dice.random() < 0.5 else -STEP
                self.agenda.at(at, lambda wrong=wrong: self._set_wrong(wrong))  # type: ignore[misc]
                self.agenda.at(at + timedelta(minutes=90), lambda: self._set_wrong(timedelta()))

    def _set_down(self, *, down: bool) -> None:
        self.down = down

    def _set_wrong(self, by: timedelta) -> None:
        self.clock.wrong_by = by

    def _write(self, person: Person, text: str, *, alarm: bool = False) -> None:
        person.written += 1
        number = f"{person.address}.{person.written}"
        self.written.append(Written(self.clock.true, number, person.address, text, alarm))
        incoming = Incoming(CHANNEL, person.address, text, number, self.clock.true)
        late = self.dice.randrange(5, 90) if self.trouble.strikes("delay", 0.05) else 0
        for _ in range(2 if self.trouble.strikes("double", 0.05) else 1):
            self.agenda.after(late, lambda: self._until_done(lambda: self.app.handle(incoming)))

    def _ring(self, got: Outgoing) -> None:
        """A phone rings: a patient answers in their way, a nurse follows the case, or neither."""
        person = self.people.get(got.address)
        if person is None:
            self._nurse(got)
            return
        after = people.wait_minutes(person, self.dice)
        for place, text in enumerate(people.answer(person, got, self.dice)):
            self.agenda.after(after + place, lambda text=text: self._write(person, text))  # type: ignore[misc]

    def _nurse(self, got: Outgoing) -> None:
        found = _CASE.search(got.text)
        who = dict((address, name) for name, address in people.NURSES).get(got.address)
        if found is None or who is None or self.dice.random() < 0.3:
            return  # in theatre: the next on the list has to be told
        self.agenda.after(self.dice.randrange(2, 20), lambda: self._follow(int(found[1]), who))

    def _follow(self, case: int, who: str) -> None:
        wait = self.dice.randrange
        steps: tuple[tuple[int, Callable[[], None]], ...] = (
            (0, lambda: self.app.care.acknowledge(case, who)),
            (wait(5, 20), lambda: self.app.care.reach_patient(case, who, "Spoke with them.")),
            (wait(20, 40), lambda: self.app.care.decide(
                case, Disposition.GOES_AHEAD, who, "Seen, goes ahead.")),
            (wait(40, 60), lambda: self.app.care.close(case, who, "Knows what to do.")),
        )  # fmt: skip
        for after, step in steps:
            self.agenda.after(after, lambda step=step: self._until_done(_if_allowed(step)))  # type: ignore[misc]


def _if_allowed(step: Callable[[], None]) -> Callable[[], None]:
    """A colleague may have been quicker, or a new alarm may have come in between."""

    def act() -> None:
        try:
            step()
        except NotAllowed:
            return

    return act
