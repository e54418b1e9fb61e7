"""The clinic's people: nurses who follow a case to its end or do not hear of it; scheduling."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from bot.channels.base import Outgoing
from bot.core.escalation import Disposition, NotAllowed
from bot.core.record import OnCall
from bot.simulate import people
from bot.simulate.faults import Dice
from bot.simulate.network import CHANNEL, Agenda
from bot.wiring import App

_CASE = re.compile(r"Escalation (\d+)")
ENTERED = time(9, 0)  # the start that scheduling enters where none was known
_WHO = {address: name for name, address in people.NURSES}
UntilDone = Callable[[Callable[[], object]], None]


@dataclass(frozen=True, slots=True)
class Moved:
    """Another day or start on file: first tried at `tried`, taken at `taken` (None: not yet)."""

    on: date
    starts_at: time | None
    tried: datetime
    taken: datetime | None = None


def on_call() -> tuple[OnCall, ...]:
    """The surgeon's on-call list."""
    return tuple(OnCall(name, CHANNEL, address) for name, address in people.NURSES)


def is_off(address: str, at: datetime) -> bool:
    """One nurse of the list is off all day, another one each day, and hears nothing."""
    ranks = [nurse for _, nurse in people.NURSES]
    return ranks.index(address) == at.toordinal() % len(ranks)


class Office:
    """Nurses and the scheduling desk. Staff try again each minute until the service took it."""

    def __init__(self, app: Callable[[], App], agenda: Agenda, dice: Dice, do: UntilDone) -> None:
        """`app` is asked anew each time: the process behind it may have died."""
        self._app, self._agenda, self._dice, self._do = app, agenda, dice, do
        self.moved: dict[str, list[Moved]] = {}  # by the hospital's reference

    def ring(self, got: Outgoing) -> None:
        """A nurse's phone rings. In theatre or off, the next on the list has to be told."""
        found, who = _CASE.search(got.text), _WHO.get(got.address)
        if found is None or who is None or self._dice.random() < 0.3:
            return
        if not is_off(got.address, self._agenda.clock.true):
            after = self._dice.randrange(2, 20)
            self._agenda.after(after, lambda: self._follow(int(found[1]), who))

    def _follow(self, case: int, who: str) -> None:
        wait = self._dice.randrange
        steps: tuple[tuple[int, Callable[[], None]], ...] = (
            (0, lambda: self._app().care.acknowledge(case, who)),
            (wait(5, 20), lambda: self._app().care.reach_patient(case, who, "Spoke with them.")),
            (wait(20, 40), lambda: self._app().care.decide(
                case, Disposition.GOES_AHEAD, who, "Seen, goes ahead.")),
            (wait(40, 60), lambda: self._app().care.close(case, who, "Knows what to do.")),
        )  # fmt: skip
        for after, step in steps:
            self._agenda.after(after, lambda step=step: self._do(_if_allowed(step)))  # type: ignore[misc]

    def move(self, reference: str, on: date, starts_at: time | None) -> None:
        """Scheduling moves an operation to another day."""
        log = self.moved.setdefault(reference, [])
        log.append(Moved(on, starts_at, self._agenda.clock.true))
        self._do(lambda: self._move(reference, log, len(log) - 1))

    def _move(self, reference: str, log: list[Moved], place: int) -> None:
        patient, to = self._app().find(reference), log[place]
        if patient is not None:
            self._app().care.move_surgery(patient, to.on, "Scheduling", to.starts_at)
        log[place] = replace(to, taken=self._agenda.clock.true)

    def enter_start(self, reference: str) -> None:
        """Scheduling enters a start time that was not known at enrolment."""
        self._do(lambda: self._enter_start(reference))

    def _enter_start(self, reference: str) -> None:
        patient, now = self._app().find(reference), self._agenda.clock.true
        if patient is None:
            return
        surgery = self._app().chart(patient).operation.surgery
        if surgery.starts_at is None:
            log = self.moved.setdefault(reference, [])
            log.append(Moved(surgery.on, ENTERED, now))
            self._app().care.set_start_time(patient, ENTERED, "Scheduling")
            log[-1] = replace(log[-1], taken=now)


def by_day(moment: datetime, zone: str) -> bool:
    """True in the hours in which an office moves an operation."""
    return 9 <= moment.astimezone(ZoneInfo(zone)).hour < 17


def _if_allowed(step: Callable[[], None]) -> Callable[[], None]:
    """A colleague may have been quicker, or a new alarm may have come in between."""

    def act() -> None:
        try:
            step()
        except NotAllowed:
            return

    return act
