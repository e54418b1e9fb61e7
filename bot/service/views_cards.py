"""One escalation as a card: the case, the patient beside it, the summary, where it stands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from bot.core.escalation import Case, Entry, Step
from bot.core.sbar import Background, summary
from bot.core.taking_back import can_undo
from bot.service.practice import Practice
from bot.store import backgrounds, worklist
from bot.store.backgrounds import Beside
from bot.store.engine import reading

STAFF_STEPS = (Step.ACKNOWLEDGED, Step.PATIENT_REACHED, Step.DECIDED)


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the worklist. `topics` is empty for what fits nowhere else."""

    name: str
    title: str
    short: str
    topics: frozenset[str] = frozenset()


SECTIONS = (
    Section(
        "calls",
        "Call now: something was reported",
        "Calls",
        frozenset({"alarm", "side_mismatch", "cannot_attend"}),
    ),
    Section(
        "medicines",
        "Medicine dates in doubt",
        "Medicines",
        frozenset({"medicine_taken", "medicine_date_past", "medicine_unknown", "medicine_restart"}),
    ),
    Section("starts", "Start times missing", "Start times", frozenset({"start_missing"})),
    Section(
        "questions",
        "Questions without an answer",
        "Questions",
        frozenset({"question", "unread", "alert", "coach_asked", "help_needed", "reschedule"}),
    ),
    Section(
        "undelivered",
        "Not reached",
        "Not reached",
        frozenset({"undelivered", "silent", "wrong_number"}),
    ),
    Section("other", "Other matters", "Other"),
)
TRIALS = Section("trial", "Test patients: nobody is really waiting", "Test patients")


@dataclass(frozen=True, slots=True)
class Card:
    """One escalation with everything that a nurse wants beside it."""

    case: Case
    person: Beside
    titles: tuple[str, ...]
    deadline: datetime | None
    background: Background
    now: datetime
    section: Section
    days: int  # to surgery, by the hospital's calendar

    @property
    def sbar(self) -> str:
        """The summary for the call."""
        return summary(self.case, self.background, self.deadline, self.now)

    @property
    def zone(self) -> str:
        """The hospital's zone."""
        return self.person.surgery.zone

    @property
    def holder(self) -> Entry | None:
        """The last step of whoever has it; None while nobody has."""
        taken = self.case.standing in STAFF_STEPS
        steps = (e for e in reversed(self.case.standing_entries) if e.step in STAFF_STEPS)
        return next(steps, None) if taken else None

    @property
    def told(self) -> str:
        """Who on the on-call list was told last."""
        told = [e.who for e in self.case.entries if e.step is Step.NURSE_NOTIFIED]
        return told[-1] if told else ""

    @property
    def recheck_at(self) -> datetime | None:
        """When the clinic decided to look again."""
        decided = [e for e in self.case.standing_entries if e.step is Step.DECIDED]
        at = decided[-1].detail.get("recheck_at") if decided else None
        return datetime.fromisoformat(at) if at else None

    @property
    def words(self) -> tuple[Entry, ...]:
        """What the patient wrote, oldest first, each wording once."""
        return tuple({e.words: e for e in reversed(self.case.entries) if e.words}.values())[::-1]

    @property
    def seen(self) -> int:
        """How long the log is that this card shows."""
        return len(self.case.entries)

    def can_undo(self, who: str, now: datetime) -> bool:
        """Whether this person may take back the last entry."""
        return can_undo(self.case, who, now)


def section_of(topic: str, severity: str, *, trial: bool) -> Section:
    """Where an escalation stands on the list. What is grave and fits nowhere is a call."""
    if trial:
        return TRIALS
    named = next((s for s in SECTIONS if topic in s.topics), None)
    return named or (SECTIONS[0] if severity in worklist.GRAVE else SECTIONS[-1])


def card(practice: Practice, case_id: int, now: datetime) -> Card:
    """One escalation. Raises LookupError for an unknown id."""
    with reading(practice.engine) as connection:
        found = cards(connection, practice, [case_id], now)
    if not found:
        raise LookupError(f"No escalation with id {case_id}.")
    return found[0]


def cards(
    connection: Connection, practice: Practice, ids: Sequence[int], now: datetime
) -> list[Card]:
    """Cards in the order of `ids`, with the same number of statements however many there are."""
    found = worklist.cases_of(connection, ids)
    people = backgrounds.besides(connection, [case.patient for case in found])
    due = worklist.deadlines(connection, ids)
    return [_card(practice, case, people[case.patient], due[case.id], now) for case in found]


def _card(
    practice: Practice, case: Case, person: Beside, due: datetime | None, now: datetime
) -> Card:
    reasons = practice.book.reasons
    titles = {name: reasons[name].title if name in reasons else name for name in case.reasons}
    background = Background(
        patient=person.name,
        phone=person.phone or "no address on file",
        surgeon=person.surgeon,
        surgery=person.surgery,
        holds=tuple(f"{h.medicine}, last dose {h.last_dose_on:%d %b}" for h in person.holds),
        done=tuple(person.done),
        coach=", ".join(name for name, _ in person.coaches),
        titles=tuple(titles.items()),
    )
    return Card(
        case=case,
        person=person,
        titles=tuple(titles.values()),
        deadline=due,
        background=background,
        now=now,
        section=section_of(case.topic, case.severity, trial=person.trial),
        days=(person.surgery.on - now.astimezone(ZoneInfo(person.surgery.zone)).date()).days,
    )
