"""One patient's life as the evidence tells it: what was on file, agreed and known, and when."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from bot.simulate.evidence import Evidence, Line
from bot.simulate.timetable import (
    Asking,
    Booking,
    House,
    PromptLine,
    read_defaults,
    read_house,
    read_lines,
    timetable,
)

ALWAYS = datetime(2100, 1, 1, tzinfo=UTC)  # beyond every run
_AT_ENROLMENT = timedelta(minutes=1)
_DONE = ("done", "not_needed")


@dataclass(frozen=True, slots=True)
class Epoch:
    """A time in which one booking was on file. It began between `tried` and `since`."""

    booking: Booking
    tried: datetime
    since: datetime
    until: datetime
    generation: int
    askings: tuple[Asking, ...] = ()


@dataclass(slots=True)
class Life:
    """One patient's life."""

    patient: int
    address: str
    enrolled: datetime
    house: House
    epochs: list[Epoch]
    agreed: list[tuple[datetime, datetime]]  # times in which messages were wanted
    coached: list[tuple[datetime, datetime]]  # times in which a coach had joined
    facts: Mapping[str, tuple[object, datetime]]  # the last word on each, and since when
    start: Mapping[str, object]  # what was known at enrolment
    done: Mapping[tuple[str, int], datetime] = field(default_factory=dict)

    @property
    def first_yes(self) -> datetime | None:
        """When the countdown could begin."""
        return self.agreed[0][0] if self.agreed else None

    def wants(self, moment: datetime) -> bool:
        """True while messages are agreed to."""
        return any(since <= moment < until for since, until in self.agreed)

    def wants_all_of(self, start: datetime, end: datetime) -> bool:
        """True if they are agreed to from one moment to the other without a break."""
        return any(since <= start and end < until for since, until in self.agreed)

    def has_coach(self, moment: datetime) -> bool:
        """True while a coach has joined."""
        return any(since <= moment < until for since, until in self.coached)

    def at(self, moment: datetime, within: timedelta) -> Iterator[Epoch]:
        """The epochs that may have been in force then."""
        for epoch in self.epochs:
            if epoch.tried - within <= moment <= epoch.until + within:
                yield epoch

    def is_meant(self, line: PromptLine, epoch: Epoch, moment: datetime) -> bool | None:
        """Whether the conditions of a line held then; None where the evidence does not say."""
        wanted = [self._holds(n, v, epoch, moment) for n, v in line.get("only_if", {}).items()]
        refused = [self._holds(n, v, epoch, moment) for n, v in line.get("not_if", {}).items()]
        if False in wanted or True in refused:
            return False
        return None if None in wanted or None in refused else True

    def _holds(self, name: str, value: object, epoch: Epoch, moment: datetime) -> bool | None:
        follows = {
            "start_known": epoch.booking.starts_at is not None,
            "has_coach": self.has_coach(moment),
            "dawn_agreed": epoch.booking.dawn,
            "medicine_hold_on_file": bool(epoch.booking.stops),
        }
        if name in follows:
            return follows[name] == value
        known, since = self.facts.get(name, (self.start.get(name), self.enrolled))
        if since > self.enrolled + _AT_ENROLMENT and since > moment - timedelta(hours=3):
            return None  # an earlier word on it may have been overwritten
        return known == value


def lives(logs: Evidence) -> Iterator[Life]:
    """Everybody's life, for whoever asks what they should have been asked."""
    house, defaults = read_house(logs.flows), read_defaults(logs.flows)
    lines = {joint: read_lines(logs.flows, joint) for joint in ("hip", "knee")}
    surgeries = {row["patient_id"]: row for row in logs.surgeries}
    of = _grouped(logs.consents), _grouped(logs.facts), _grouped(logs.items), _grouped(logs.coaches)
    for row in logs.patients:
        consents, facts, items, coaches = (rows[row["id"]] for rows in of)
        person = logs.people[row["reference"]]
        life = Life(
            row["id"], person.address, row["enrolled_at"], house, [],
            _agreed(consents), _coached(coaches),
            {f["name"]: (f["value"], f["at"]) for f in facts}, {**defaults, **person.facts},
            _done(items),
        )  # fmt: skip
        life.epochs = list(_epochs(logs, life, row["reference"], surgeries[row["id"]]["zone"]))
        joint = surgeries[row["id"]]["joint"]
        life.epochs = [
            replace(epoch, askings=tuple(timetable(lines[joint], house, epoch.booking)))
            for epoch in life.epochs
        ]
        yield life


def _grouped(rows: Sequence[Line]) -> defaultdict[int, list[Line]]:
    found: defaultdict[int, list[Line]] = defaultdict(list)
    for row in rows:
        found[row["patient_id"]].append(row)
    return found


def _agreed(consents: Sequence[Line]) -> list[tuple[datetime, datetime]]:
    """From each yes of the patient to the no after it."""
    spans: list[tuple[datetime, datetime]] = []
    for row in consents:
        if row["scope"] != "messages" or row["coach_id"] is not None:
            continue
        open_now = bool(spans) and spans[-1][1] == ALWAYS
        if row["given"] and not open_now:
            spans.append((row["at"], ALWAYS))
        elif not row["given"] and open_now:
            spans[-1] = (spans[-1][0], row["at"])
    return spans


def _coached(coaches: Sequence[Line]) -> list[tuple[datetime, datetime]]:
    return [(c["joined_at"], c["left_at"] or ALWAYS) for c in coaches if c["joined_at"]]


def _done(items: Sequence[Line]) -> dict[tuple[str, int], datetime]:
    return {(i["name"], i["generation"]): i["at"] for i in items if i["value"] in _DONE}


def _epochs(logs: Evidence, life: Life, reference: str, zone: str) -> Iterator[Epoch]:
    """Each change of day, start or agreement to be woken begins a new one."""
    person, wish = logs.people[reference], logs.people[reference].wish()
    stops = tuple((hold.medicine, hold.last_dose_on) for hold in person.holds)
    booking = Booking(
        person.surgery_on, person.starts_at, zone, life.enrolled, wish.dawn_agreed, stops
    )
    changes = [(m.tried, m.taken or ALWAYS, m) for m in logs.moved.get(reference, ())]
    dawn, asked_at = life.facts.get("dawn_agreed", (None, life.enrolled))
    if dawn is not None:
        changes.append((asked_at, asked_at, None))  # type: ignore[arg-type]
    generation, tried, since = 1, life.enrolled, life.enrolled
    for next_tried, taken, move in sorted(changes, key=lambda change: change[0]):
        yield Epoch(booking, tried, since, taken, generation)
        tried, since = next_tried, taken
        if move is None:
            booking = replace(booking, dawn=dawn is True)
        else:
            kept = booking.stops if move.on == booking.on else ()  # only the prescriber may re-date
            generation += move.on != booking.on
            booking = replace(booking, on=move.on, starts_at=move.starts_at, stops=kept)
    yield Epoch(booking, tried, since, ALWAYS, generation)
