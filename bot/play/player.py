"""Plays one story against the real services on a virtual clock.

A story that was killed goes on where it was: its time is kept in the folder, every deed has a key
that is the same in every run, and doing a deed twice changes nothing.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from bot.channels.base import Incoming
from bot.core.escalation import Case, Disposition, Step
from bot.core.protocol import MedicineHold
from bot.play.enrolling import enrolment, second_enrolment
from bot.play.phones import NAME, Phones
from bot.play.scenario import NurseAct, RecordAct, Scenario, SurgeryChange
from bot.play.script import SILENCE, Deed, answer_deed, written_deeds
from bot.service import dispatch, inbound, outbox, views
from bot.service.care import Care
from bot.service.chart import Chart
from bot.service.practice import Practice

_STEPS = {
    "acknowledge": Step.ACKNOWLEDGED,
    "reached": Step.PATIENT_REACHED,
    "dispose": Step.DECIDED,
    "close": Step.CLOSED,
    "note": Step.NOTED,
}
_SETTLING = 20  # rounds at one instant after which something answers itself for ever


class StoryStuck(RuntimeError):
    """Something keeps happening at one instant of the story; that is a fault of the program."""


@dataclass(slots=True)
class Clock:
    """The story's time, kept in a file so that a killed story knows where it was."""

    path: Path
    now: datetime = field(default=datetime.min.replace(tzinfo=UTC))

    def __post_init__(self) -> None:
        """Take up the time where an earlier run left it."""
        if self.path.exists():
            self.now = datetime.fromisoformat(self.path.read_text())

    def __call__(self) -> datetime:
        """The present instant."""
        return self.now

    def set(self, moment: datetime) -> None:
        """Move forward; never back. The file is replaced whole, so it is never half-written."""
        self.now = max(self.now, moment)
        fresh = self.path.with_suffix(".new")
        fresh.write_text(self.now.isoformat())
        fresh.replace(self.path)


class Player:
    """One story under way. `play` yields the story's time at each step, for a progress bar."""

    def __init__(self, story: Scenario, practice: Practice, folder: Path, clock: Clock) -> None:
        self.story, self.practice, self.clock = story, practice, clock
        self.phones = Phones(folder / "phones.jsonl")
        self.care = Care(practice, clock)
        self.patient = 0
        self.second: int | None = None
        self._silence_file = folder / "silences.txt"
        known = self._silence_file.read_text("utf-8") if self._silence_file.exists() else ""
        self._silences = known.splitlines()

    def play(self, *, wait: Callable[[datetime], None] = lambda _: None) -> Iterator[datetime]:
        """Run from where the story stands to its end. `wait` is called before each step."""
        self._at(self.story.instant(self.story.enrolled))
        self.patient = self.care.enrol(enrolment(self.story)).patient
        if (other := second_enrolment(self.story)) is not None:
            self.second = self.care.enrol(other).patient
        deeds = written_deeds(self.story)
        until = self.story.instant(self.story.until)
        self._hear_again()
        while True:
            self._settle()
            answers = self._answers()
            moment = self._next([*deeds[:1], *answers])
            if moment is None or moment > until:
                break
            wait(moment)
            self._at(max(moment, self.clock.now))
            while deeds and deeds[0].at <= self.clock.now:
                self._do(deeds.pop(0))
            for deed in answers:
                if deed.at <= self.clock.now:
                    self._do(deed)
            yield self.clock.now
        self._at(until)

    def _at(self, moment: datetime) -> None:
        self.clock.set(moment)
        self.phones.set_time(self.clock.now)

    def _next(self, deeds: list[Deed]) -> datetime | None:
        moments = [deed.at for deed in deeds]
        due = views.next_moment(self.practice.engine)
        return min([*moments, *([due] if due else [])], default=None)

    def _settle(self) -> None:
        """Everything that is due now, until nothing more comes of it."""
        channels = {NAME: self.phones}
        for _ in range(_SETTLING):
            busy = dispatch.tick(self.practice, self.clock.now).busy
            sent = outbox.relay(self.practice, channels, self.clock.now)
            if not busy and not sent.sent:
                return
        raise StoryStuck(f"{self.story.scenario}: still busy at {self.clock.now.isoformat()}")

    def _answers(self) -> list[Deed]:
        chat = views.chart(self.practice, self.patient).conversation
        written = [slip.key for slip in self.phones.slips if slip.written] + self._silences
        found = [answer_deed(self.story, chat, "patient", written)]
        if self.story.coach and chat.coach:
            found.append(answer_deed(self.story, chat.coach, "coach", written))
        silent = [deed for deed in found if deed is not None and deed.event is SILENCE]
        for deed in silent:
            self._keep_silent(deed.key)
        return [deed for deed in found if deed is not None and deed not in silent]

    def _keep_silent(self, key: str) -> None:
        """Remember, over a crash too, which question was left unanswered."""
        self._silences.append(key)
        with self._silence_file.open("a", encoding="utf-8") as file:
            file.write(key + "\n")

    def _do(self, deed: Deed) -> None:
        event = deed.event
        if event.patient is not None:
            self._write(deed.key, self.story.patient.phone, event.patient)
        elif event.coach is not None and self.story.coach is not None:
            self._write(deed.key, self.story.coach.phone, event.coach)
        elif event.nurse is not None:
            self._nurse(event.nurse, deed.at)
        elif event.surgery is not None:
            self._change(event.surgery)
        elif event.record is not None:
            self._record(event.record)

    def _write(self, key: str, address: str, text: str) -> None:
        slip = self.phones.write(key, address, text)
        incoming = Incoming(NAME, address, slip.text, slip.key, slip.when)
        inbound.handle(self.practice, incoming, self.clock.now)

    def _hear_again(self) -> None:
        """A phone repeats what it wrote before a crash; what was taken in already is ignored."""
        for slip in self.phones.slips:
            if slip.written:
                self._write(slip.key, slip.address, slip.text)

    def _nurse(self, act: NurseAct, at: datetime) -> None:
        case = self._case_for(act, at)
        if case is None:
            return
        match act.do:
            case "acknowledge":
                self.care.acknowledge(case.id, act.by, act.note)
            case "reached":
                self.care.reach_patient(case.id, act.by, act.note)
            case "dispose":
                self._decide(case, act)
            case "note":
                self.care.note(case.id, act.by, act.note)
            case "close":
                self.care.close(case.id, act.by, act.note)

    def _decide(self, case: Case, act: NurseAct) -> None:
        recheck = self.story.instant(act.recheck_at) if act.recheck_at else None
        self.care.decide(
            case.id, Disposition(act.disposition), act.by, act.note, act.words, recheck
        )

    def _record(self, act: RecordAct) -> None:
        """What staff enter. Entering the same thing again after a crash changes nothing."""
        chart, patient = views.chart(self.practice, self.patient), self.patient
        chat, care = chart.conversation, self.care
        if act.pause and not chat.paused:
            care.pause(patient, act.by)
        if act.resume and chat.paused:
            care.resume(patient, act.by)
        if act.back_in and chat.stopped:
            care.opt_back_in(patient, act.by, act.back_in)
        self._enter(act, chart)

    def _enter(self, act: RecordAct, chart: Chart) -> None:
        if act.hold is not None:
            hold = MedicineHold(**act.hold.model_dump())
            if hold not in chart.holds:
                self.care.add_medicine_hold(self.patient, hold, act.by)
        for name, value in act.facts.items():
            if chart.facts.get(name) != value:
                self.care.learn_fact(self.patient, name, value, act.by)
        if act.done and act.done not in chart.done:
            self.care.mark_done_by_phone(self.patient, act.done, act.by)
        if act.not_needed and act.not_needed not in chart.done:
            self.care.mark_done_by_phone(self.patient, act.not_needed, act.by, "not_needed")

    def _case_for(self, act: NurseAct, at: datetime) -> Case | None:
        """The newest open case that the act fits, unless the act stands in a log already."""
        cases = [w.case for w in views.worklist(self.practice, at, closed=True)]
        done = (
            entry.step is _STEPS[act.do] and entry.at == at and entry.who == act.by
            for case in cases
            for entry in case.entries
        )
        still_open = [case for case in cases if not case.closed and act.about in case.reasons]
        return still_open[-1] if still_open and not any(done) else None

    def _change(self, change: SurgeryChange) -> None:
        operation = views.chart(self.practice, self.patient).operation
        if change.cancelled:
            if operation.status != "cancelled":
                self.care.cancel_surgery(self.patient, "Scheduling")
        elif change.side or change.joint:
            now = operation.surgery
            side, joint = change.side or now.side, change.joint or now.joint
            if (side, joint) != (now.side, now.joint):
                self.care.correct_side_or_joint(self.patient, side, joint, "Scheduling")
        elif change.on and (change.on, change.starts_at) != (
            operation.surgery.on,
            operation.surgery.starts_at,
        ):
            self.care.move_surgery(self.patient, change.on, "Scheduling", change.starts_at)
        elif change.starts_at and change.starts_at != operation.surgery.starts_at:
            self.care.set_start_time(self.patient, change.starts_at, "Scheduling")
