"""A month of invented patients on the real services and a virtual clock.

The people act in steps of five minutes: what comes due in a step is done together, so that a month
of two hundred patients takes minutes. Nothing else differs from a story played alone.
"""

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from functools import partial
from itertools import count
from zoneinfo import ZoneInfo

from bot.channels.base import Incoming, OnDelivery, OnIncoming, Outgoing, Sent
from bot.core.conversation import OpenQuestion
from bot.core.escalation import Case, Disposition, Step
from bot.core.office import is_open
from bot.play.month_people import ZONE, Dice, Person, answer_of, is_silent, minutes_to_answer
from bot.play.phones import NAME
from bot.service import dispatch, inbound, outbox, views
from bot.service.care import Care
from bot.service.practice import Practice
from bot.service.views_worklist import needs_you

STEP = timedelta(minutes=5)
ROUNDS = timedelta(minutes=15)  # how often somebody looks at the nurse's list by day
NIGHT_ROUNDS = timedelta(hours=1)
STOPS_AT = time(17)
NURSES = ("Nurse Adeyemi", "Nurse Lindqvist", "Nurse Okonjo")
GRAVE = ("emergency", "urgent")
_DECISIONS = {  # what a clinic decides about an alarm; invented shares, no published source
    Disposition.GOES_AHEAD: 45,
    Disposition.SEEN_TODAY: 22,
    Disposition.POSTPONED: 20,
    Disposition.WATCH: 13,
}


@dataclass(slots=True)
class Post:
    """The phones of a month: takes every message, and tells who got one."""

    got: Callable[[Outgoing], None]
    name: str = NAME
    sent: int = 0

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Nothing to connect to."""

    def send(self, outgoing: Outgoing) -> Sent:
        """Deliver at once."""
        self.sent += 1
        self.got(outgoing)
        return Sent(outgoing.key)

    def trouble(self) -> str | None:
        """Nothing can be in the way."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""


@dataclass(slots=True)
class Month:
    """The month under way. `play` yields the time at each step."""

    practice: Practice
    people: list[Person]
    start: datetime
    days: int
    rng: Dice
    now: datetime = field(init=False)
    written: int = 0
    patients: dict[str, tuple[Person, int]] = field(default_factory=dict)  # by either address
    to_do: list[tuple[datetime, int, Callable[[], None]]] = field(default_factory=list)
    looks: set[tuple[str, datetime]] = field(default_factory=set)
    woken: set[int] = field(default_factory=set)  # silent patients whom a nurse has reached
    number: "count[int]" = field(default_factory=count)
    post: Post = field(init=False)
    care: Care = field(init=False)

    def __post_init__(self) -> None:
        """Put the enrolments and the nurse's first round into the calendar."""
        self.now = self.start
        self.post = Post(self._got)
        self.care = Care(self.practice, lambda: self.now)
        for person in self.people:
            self._at(person.enrolled, partial(self._enrol, person))
        self._at(self.start + ROUNDS, self._round)

    @property
    def end(self) -> datetime:
        """The last instant of the month."""
        return self.start + timedelta(days=self.days)

    def play(self) -> Iterator[datetime]:
        """Run the month to its end, and the tidying-up of its open cases."""
        while True:
            due = views.next_moment(self.practice.engine)
            moments = [self.to_do[0][0]] if self.to_do else []
            moment = min([*moments, *([due] if due else [])], default=None)
            if moment is None or moment > self.end:
                return
            self.now = max(self.now, _next_step(moment, self.start))
            while self.to_do and self.to_do[0][0] <= self.now:
                heapq.heappop(self.to_do)[2]()
            self._run_due()
            yield self.now

    def _run_due(self) -> None:
        for _ in range(4):
            done = dispatch.tick(self.practice, self.now)
            if done.failed:
                raise RuntimeError(f"{self.now}: {done.failed[0]}")
            sent = outbox.relay(self.practice, {NAME: self.post}, self.now)
            if not done.busy and not sent.sent:
                return

    def _at(self, moment: datetime, deed: Callable[[], None]) -> None:
        heapq.heappush(self.to_do, (_next_step(moment, self.start), next(self.number), deed))

    # -- patients and coaches

    def _enrol(self, person: Person) -> None:
        patient = self.care.enrol(person.wish).patient
        self.patients[person.phone] = (person, patient)
        if person.coach_phone:
            self.patients[person.coach_phone] = (person, patient)
            if person.coach_joins:
                soon = self.now + timedelta(minutes=self.rng.randrange(10, 300))
                coach = person.coach_phone
                self._at(soon, lambda: self._write(coach, "yes"))
        if person.wrong_number:
            text = "you have the wrong number"
            self._at(self.now + timedelta(minutes=40), lambda: self._write(person.phone, text))
        if person.stops_on:
            stop = datetime.combine(person.stops_on, STOPS_AT, ZoneInfo(ZONE)).astimezone(UTC)
            self._at(stop, lambda: self._write(person.phone, "please stop texting me"))

    def _got(self, outgoing: Outgoing) -> None:
        """A phone buzzes; its owner looks at it after a while, and once for several messages."""
        address = outgoing.address
        if address in self.patients:
            person, _ = self.patients[address]
            wait = timedelta(minutes=minutes_to_answer(person, self.rng))
            moment = _next_step(self.now + wait, self.start)
            if (address, moment) not in self.looks:
                self.looks.add((address, moment))
                self._at(moment, lambda: self._look(address, moment))

    def _look(self, address: str, moment: datetime) -> None:
        self.looks.discard((address, moment))
        person, patient = self.patients[address]
        chat = views.chart(self.practice, patient).conversation
        if address == person.coach_phone:
            self._coach_looks(address, chat.coach.open if chat.coach else None, chat.open)
        elif is_silent(person, self.now) and patient not in self.woken:
            return
        elif chat.open is not None and not chat.stopped:
            self._answer(person, chat.open)

    def _answer(self, person: Person, question: OpenQuestion) -> None:
        text = answer_of(person, question, self.now, self.rng)
        if text is not None:
            self._write(person.phone, text)

    def _coach_looks(
        self, address: str, own: OpenQuestion | None, patients_own: OpenQuestion | None
    ) -> None:
        if own is not None:
            self._write(address, "yes")
        elif patients_own is not None and patients_own.rung == "coach" and self.rng.random() < 0.6:
            fine = patients_own.flow == "symptom_check"
            self._write(address, "no, all is well here" if fine else "done")

    def _write(self, address: str, text: str) -> None:
        self.written += 1
        key = f"{address}.{self.written}"
        inbound.handle(self.practice, Incoming(NAME, address, text, key, self.now), self.now)

    # -- the nurse

    def _round(self) -> None:
        """Somebody looks at the list: by day at everything, at night at what is grave."""
        hours = self.practice.rules.hours
        by_day = is_open(hours, ZONE, self.now)
        for card in needs_you(self.practice, self.now, size=400).cards:
            grave = card.case.severity in GRAVE
            if (by_day or grave) and self._has_time(card.case):
                self._follow(card.case)
        self._at(self.now + (ROUNDS if by_day else NIGHT_ROUNDS), self._round)

    def _has_time(self, case: Case) -> bool:
        """A nurse gets to most cases within a round or two; now and then one has to wait."""
        if case.standing is Step.DECIDED and case.entries[-1].step is Step.DECIDED:
            return self.now - case.entries[-1].at >= timedelta(hours=2)
        return self.rng.random() < (0.7 if case.severity in GRAVE else 0.3)

    def _follow(self, case: Case) -> None:
        who = NURSES[case.id % len(NURSES)]
        match case.standing:
            case Step.ACKNOWLEDGED:
                self.care.reach_patient(case.id, who, "Spoke with the patient.")
                self.woken.add(case.patient)
            case Step.PATIENT_REACHED:
                self._decide(case, who)
            case Step.DECIDED:
                if not _is_watched(case, self.now):
                    self.care.close(case.id, who, "Patient knows what was decided.")
            case _:
                self.care.acknowledge(case.id, who)

    def _decide(self, case: Case, who: str) -> None:
        found = Disposition.GOES_AHEAD
        if case.severity == "emergency":
            found = Disposition.SENT_EMERGENCY
        elif case.topic == "alarm" and case.disposition is None:
            found = self.rng.choices(tuple(_DECISIONS), weights=tuple(_DECISIONS.values()))[0]
        again = self.now + timedelta(days=1) if found is Disposition.WATCH else None
        self.care.decide(case.id, found, who, "As agreed with the surgeon.", None, again)
        if found is Disposition.POSTPONED:
            later = self.now + timedelta(days=self.rng.randrange(1, 3))
            self._at(later, lambda: self._new_date(case.patient))

    def _new_date(self, patient: int) -> None:
        """Scheduling finds another day, ten days to three weeks ahead."""
        operation = views.chart(self.practice, patient).operation
        on = (self.now + timedelta(days=self.rng.randrange(10, 21))).date()
        on += timedelta(days=max(0, on.weekday() - 4) and 7 - on.weekday())
        if operation.status != "cancelled":
            starts = operation.surgery.starts_at
            self.care.move_surgery(patient, on, "Scheduling", starts)


def _is_watched(case: Case, now: datetime) -> bool:
    decided = [e for e in case.standing_entries if e.step is Step.DECIDED][-1]
    at = decided.detail.get("recheck_at")
    return at is not None and datetime.fromisoformat(at) > now


def _next_step(moment: datetime, start: datetime) -> datetime:
    """The end of the five-minute step that holds this moment."""
    steps = -(-(moment - start) // STEP)
    return start + steps * STEP
