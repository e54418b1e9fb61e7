"""Everything that staff and imports may do, one method each; each is one transaction.

`who` is the name of the person who acts; it goes into the logs.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time

from bot.core.copies import CopyLevel
from bot.core.escalation import Case, Disposition
from bot.core.protocol import FactValue, MedicineHold
from bot.core.record import OnCall
from bot.core.taking_back import refuse_if_overtaken
from bot.service import changes, coaching, enrolment, nursing, record
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.enrolment import Enrolled, Enrolment
from bot.service.inviting import invite
from bot.service.link_codes import keep_code
from bot.service.practice import Practice
from bot.store import escalations, patients, surgeries
from bot.store.engine import writing


@dataclass(frozen=True, slots=True)
class Care:
    """The services for staff. `clock` gives the present instant, aware and in UTC."""

    practice: Practice
    clock: Callable[[], datetime]
    new_code: Callable[[], str] | None = None  # makes the code of a link, too long to be guessed

    @contextmanager
    def _desk(self, patient: int, who: str) -> Iterator[Desk]:
        now = self.clock()
        with writing(self.practice.engine) as connection:
            patients.lock(connection, patient)
            chart = load_chart(connection, self.practice, patient)
            yield Desk(connection, self.practice, chart, now, staff=who)

    @contextmanager
    def _case(self, case_id: int, who: str, seen: int | None = None) -> Iterator[tuple[Desk, Case]]:
        now = self.clock()
        with writing(self.practice.engine) as connection:
            patient = escalations.load_case(connection, case_id).patient
            patients.lock(connection, patient)
            case = escalations.load_case(connection, case_id)
            refuse_if_overtaken(case, seen)
            chart = load_chart(connection, self.practice, patient)
            yield Desk(connection, self.practice, chart, now, staff=who), case

    def enrol(self, wish: Enrolment, who: str = "enrolment") -> Enrolled:
        """Enrol a patient; a second time changes nothing."""
        return enrolment.enrol(self.practice, wish, who, self.clock())

    def enrolment_code(self, patient: int, who: str = "staff", coach: int | None = None) -> str:
        """Make the code of a link by which the patient, or a coach, opens the chat; older ones end.

        It opens one chat, within `link_codes.LINK_LASTS`, and is not stored: show it now. Raises
        ValueError when no date of birth is on record, or the coach's phone is known.
        """
        if self.new_code is None:
            raise ValueError("No source of codes is set up. Build the service with `wiring.build`.")
        with self._desk(patient, who) as desk:
            code = self.new_code()
            keep_code(desk, code, coach)
            return code

    def set_on_call(self, surgeon: str, contacts: Sequence[OnCall]) -> None:
        """Replace a surgeon's on-call list."""
        with writing(self.practice.engine) as connection:
            surgeries.put_on_call(connection, surgeon, contacts)

    def set_start_time(
        self, patient: int, starts_at: time, who: str, arrive_at: time | None = None
    ) -> None:
        """Enter or change the start time on the day that stands; fasting is planned with it."""
        with self._desk(patient, who) as desk:
            nursing.settle_quietly(desk, "start_missing", "start time entered")
            on = desk.chart.operation.surgery.on
            changes.move_surgery(desk, changes.NewTimes(on, starts_at, arrive_at))

    def move_surgery(
        self,
        patient: int,
        on: date | None,
        who: str,
        starts_at: time | None = None,
        arrive_at: time | None = None,
    ) -> None:
        """Give the surgery another date, or none yet (postponed)."""
        with self._desk(patient, who) as desk:
            changes.move_surgery(desk, changes.NewTimes(on, starts_at, arrive_at))

    def cancel_surgery(self, patient: int, who: str) -> None:
        """The surgery will not take place."""
        with self._desk(patient, who) as desk:
            changes.cancel_surgery(desk)

    def correct_side_or_joint(self, patient: int, side: str, joint: str, who: str) -> None:
        """Correct the side ("left", "right") or joint ("hip", "knee") on record."""
        with self._desk(patient, who) as desk:
            changes.correct_side_or_joint(desk, side, joint)

    def pause(self, patient: int, who: str) -> None:
        """Stop the messages for now."""
        with self._desk(patient, who) as desk:
            record.pause(desk)

    def resume(self, patient: int, who: str) -> None:
        """Let the messages go on."""
        with self._desk(patient, who) as desk:
            record.resume(desk)

    def opt_back_in(self, patient: int, who: str, wording: str) -> None:
        """Bring a patient back who opted out; `wording` is what they said."""
        with self._desk(patient, who) as desk:
            record.opt_back_in(desk, wording)

    def mark_done_by_phone(self, patient: int, item: str, who: str, value: str = "done") -> None:
        """Record an item that the patient told staff about."""
        with self._desk(patient, who) as desk:
            record.mark_done(desk, item, value)

    def add_medicine_hold(self, patient: int, hold: MedicineHold, who: str) -> None:
        """Enter what a named prescriber said."""
        with self._desk(patient, who) as desk:
            record.enter_hold(desk, hold)

    def learn_fact(self, patient: int, name: str, value: FactValue, who: str) -> None:
        """Enter a fact about the patient."""
        with self._desk(patient, who) as desk:
            record.enter_fact(desk, name, value)

    def add_coach(
        self,
        patient: int,
        name: str,
        channel: str,
        address: str,
        level: CopyLevel,
        who: str,
        language: str = "en",
        *,
        shared: bool = False,
    ) -> int:
        """Invite a coach; they join by their own reply. Return the coach's id.

        `address` is "" where they are to open the chat by a link. `shared`: the address may be
        another person's too. Else AddressTaken is raised then.
        """
        with self._desk(patient, who) as desk:
            return invite(desk, name, channel, address, level, language, shared=shared)

    def set_coach_level(self, patient: int, level: CopyLevel, who: str) -> None:
        """Change what the patient's coaches may see."""
        with self._desk(patient, who) as desk:
            coaching.change_level(desk, level)

    def remove_coach(self, patient: int, coach: int, who: str) -> None:
        """Send nothing more to a coach."""
        with self._desk(patient, who) as desk:
            coaching.remove(desk, coach)

    def acknowledge(self, case: int, who: str, note: str = "", seen: int | None = None) -> None:
        """Take an escalation.

        Here and below `seen` is how many entries of the log `who` had before their eyes; when
        anything has happened since, Overtaken is raised and nothing is stored. None: not checked.
        """
        with self._case(case, who, seen) as (desk, found):
            nursing.acknowledge(desk, found, note)

    def reach_patient(self, case: int, who: str, note: str = "", seen: int | None = None) -> None:
        """Write down that the patient was reached."""
        with self._case(case, who, seen) as (desk, found):
            nursing.reach(desk, found, note)

    def note(self, case: int, who: str, note: str) -> None:
        """Write down anything else, such as a call that was not answered; no clock stops."""
        with self._case(case, who) as (desk, found):
            nursing.write_note(desk, found, note)

    def decide(
        self,
        case: int,
        disposition: Disposition,
        who: str,
        note: str,
        words: str | None = None,
        recheck_at: datetime | None = None,
        seen: int | None = None,
    ) -> None:
        """Write down what was decided and tell the patient. Raises NotAllowed without a note."""
        with self._case(case, who, seen) as (desk, found):
            nursing.decide(desk, found, disposition, note, words, recheck_at)

    def close(self, case: int, who: str, note: str, seen: int | None = None) -> None:
        """Close a decided escalation. Raises NotAllowed without decision or note."""
        with self._case(case, who, seen) as (desk, found):
            nursing.close(desk, found, note)

    def undo(self, case: int, who: str, seen: int | None = None) -> None:
        """Take back one's own last entry, soon after. Raises NotAllowed when that cannot be."""
        with self._case(case, who, seen) as (desk, found):
            nursing.undo(desk, found)
