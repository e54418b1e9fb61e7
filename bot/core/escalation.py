"""The life of an escalation, from the alarm to a decision that the patient knows of.

A case is its entries: an append-only list of what happened, when and by whom. Everything else, such
as where it stands, how grave it is and when someone must act, is worked out from them. Every
function returns a new case with one entry more, or raises NotAllowed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum

from bot.core.flow import Allowed
from bot.core.office import next_opening
from bot.core.protocol import OfficeHours


class Step(StrEnum):
    """What can happen to a case."""

    OPENED = "opened"
    PATIENT_TOLD = "patient_told"
    NURSE_NOTIFIED = "nurse_notified"
    ANSWERED = "answered"  # the patient answered what the nurse will want to know
    WORSE = "worse"  # a further alarm, graver or new
    SAME = "same"  # a further alarm that adds nothing graver
    RETURNED = "returned"  # the patient did not get through, or fell silent
    ACKNOWLEDGED = "acknowledged"
    PATIENT_REACHED = "patient_reached"
    DECIDED = "decided"
    CLOSED = "closed"
    NOTED = "noted"  # a call that was not answered, or anything else worth writing down
    UNDONE = "undone"  # the entry before it was a slip; see core/taking_back.py


class Disposition(StrEnum):
    """What the clinic decided."""

    GOES_AHEAD = "goes_ahead"
    WATCH = "watch"  # with a day on which to look again
    SEEN_TODAY = "seen_today"
    POSTPONED = "postponed"
    CANCELLED = "cancelled"
    SENT_EMERGENCY = "sent_emergency"


GRAVITY = ("routine", "today", "urgent", "emergency")


_TO_CLOSE = timedelta(hours=24)
_CLOCK_STARTS = frozenset(Step) - {Step.PATIENT_TOLD, Step.ANSWERED, Step.SAME, Step.NOTED}
_STANDINGS = _CLOCK_STARTS - {Step.NURSE_NOTIFIED}


class NotAllowed(ValueError):
    """The case does not permit this step now; the message says why and what to do first."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened. `words` are the patient's own, `note` is the staff's."""

    step: Step
    at: datetime
    who: str
    note: str = ""
    words: str = ""
    reason: str = ""
    severity: str = ""
    detail: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Case:
    """One escalation. Entries are in order and only ever grow."""

    patient: int
    topic: str  # alarms of one topic share a case
    entries: tuple[Entry, ...]
    id: int = 0

    @property
    def opened(self) -> Entry:
        """The entry that opened it."""
        return self.entries[0]

    @property
    def standing_entries(self) -> tuple[Entry, ...]:
        """The entries that count: without those that were taken back."""
        kept: list[Entry] = []
        for entry in self.entries:
            if entry.step is Step.UNDONE:
                kept.pop()
            else:
                kept.append(entry)
        return tuple(kept)

    @property
    def closed(self) -> bool:
        """True when nothing more can happen to it."""
        return self.entries[-1].step is Step.CLOSED

    @property
    def severity(self) -> str:
        """The gravest severity reported so far."""
        return max((e.severity for e in self.entries if e.severity), key=GRAVITY.index)

    @property
    def standing(self) -> Step:
        """The step that says where the case stands: who must act next."""
        return next(e.step for e in reversed(self.standing_entries) if e.step in _STANDINGS)

    @property
    def disposition(self) -> Disposition | None:
        """The last decision, or None when it is still to be made."""
        decided = [e for e in self.standing_entries if e.step is Step.DECIDED]
        return Disposition(decided[-1].detail["disposition"]) if decided else None

    @property
    def reasons(self) -> tuple[str, ...]:
        """Every reason reported, oldest first, each once."""
        return tuple(dict.fromkeys(e.reason for e in self.entries if e.reason))


def open_case(
    patient: int,
    topic: str,
    reason: str,
    severity: str,
    words: str,
    now: datetime,
    detail: Mapping[str, str] | None = None,
) -> Case:
    """Open a case for a patient with the words that raised it."""
    entry = Entry(
        Step.OPENED, now, "coach bot", words=words, reason=reason, severity=severity,
        detail=detail or {},
    )  # fmt: skip
    return Case(patient, topic, (entry,))


def join(
    case: Case,
    reason: str,
    severity: str,
    words: str,
    now: datetime,
    detail: Mapping[str, str] | None = None,
) -> Case:
    """Add a further alarm: worse when graver or of a new kind, otherwise the same."""
    graver = GRAVITY.index(severity) > GRAVITY.index(case.severity)
    step = Step.WORSE if graver or reason not in case.reasons else Step.SAME
    entry = Entry(
        step, now, "coach bot", words=words, reason=reason, severity=severity, detail=detail or {}
    )
    return _with(case, entry)


def answered(case: Case, answers: Mapping[str, str], now: datetime) -> Case:
    """Add what the patient told about since when, how high, where."""
    return _with(case, Entry(Step.ANSWERED, now, "patient", detail=answers))


def told(case: Case, now: datetime, who: str = "patient") -> Case:
    """The patient's message was accepted by the channel (said once)."""
    if any(e.step is Step.PATIENT_TOLD for e in case.entries):
        return case
    return _with(case, Entry(Step.PATIENT_TOLD, now, who))


def notified(case: Case, contact: str, now: datetime) -> Case:
    """A person on the on-call list was told; the time allowed starts again."""
    return _with(case, Entry(Step.NURSE_NOTIFIED, now, contact))


def returned(case: Case, words: str, now: datetime, note: str = "") -> Case:
    """The patient did not get through, or fell silent (`note` says so): the nurse has it again."""
    return _with(case, Entry(Step.RETURNED, now, "patient", note, words=words))


def look_again(case: Case, now: datetime) -> Case:
    """The day to look again has come: the nurse has the case as before, and decides anew."""
    return _with(case, Entry(Step.RETURNED, now, "countdown", "The day to look again has come."))


def is_to_look_again(case: Case, now: datetime) -> bool:
    """Say whether a case that is watched has reached the moment to look again."""
    if case.closed or case.standing is not Step.DECIDED:
        return False
    at = _decision(case).detail.get("recheck_at")
    return at is not None and datetime.fromisoformat(at) <= now


def acknowledge(case: Case, who: str, now: datetime, note: str = "") -> Case:
    """A named person takes the case."""
    return _with(case, Entry(Step.ACKNOWLEDGED, now, who, note))


def reach(case: Case, who: str, now: datetime, note: str = "") -> Case:
    """Somebody spoke with the patient. Reaching the patient also acknowledges the case."""
    return _with(case, Entry(Step.PATIENT_REACHED, now, who, note))


def decide(
    case: Case,
    disposition: Disposition,
    who: str,
    note: str,
    now: datetime,
    recheck_at: datetime | None = None,
) -> Case:
    """Write down what was decided. Watching needs the moment to look again, and a later one."""
    if not note.strip():
        raise NotAllowed("A decision needs a note. Write what was said and why.")
    if disposition is Disposition.WATCH and (recheck_at is None or recheck_at <= now):
        raise NotAllowed("Watching needs a day to look again, later than now. Give the day.")
    detail = {"disposition": str(disposition)}
    if recheck_at is not None:
        detail["recheck_at"] = recheck_at.isoformat()
    return _with(case, Entry(Step.DECIDED, now, who, note, detail=detail))


def close(case: Case, who: str, note: str, now: datetime) -> Case:
    """Close the case. It needs a decision made after the last alarm, and a note."""
    if case.standing is not Step.DECIDED:
        raise NotAllowed(
            f"Escalation {case.id} stands at '{case.standing}'. Write the decision (disposition"
            " and note) first; an alarm after a decision needs a new one."
        )
    if not note.strip():
        raise NotAllowed("Closing needs a note. Write how the patient is and who knows.")
    return _with(case, Entry(Step.CLOSED, now, who, note))


def deadline(
    case: Case, hours: OfficeHours, zone: str, allowed: Mapping[str, Allowed]
) -> datetime | None:
    """Work out by when a person must act; None when closed.

    `allowed` are the practice's minutes by severity (flows/escalations.yaml). The time allowed runs
    from the last entry that restarts it. What is not urgent waits for the office to open, so that
    nobody is woken for a routine matter.
    """
    if case.closed:
        return None
    last = next(e for e in reversed(case.standing_entries) if e.step in _CLOCK_STARTS)
    if case.standing is Step.DECIDED and "recheck_at" in _decision(case).detail:
        recheck = datetime.fromisoformat(_decision(case).detail["recheck_at"])
        due = max(recheck, last.at + _TO_CLOSE) if last.step is not Step.DECIDED else recheck
    else:
        due = last.at + time_allowed(case, allowed)
    return due if case.severity in ("emergency", "urgent") else next_opening(hours, zone, due)


def time_allowed(case: Case, minutes: Mapping[str, Allowed]) -> timedelta:
    """How long the next human step may take, by the gravity and where the case stands."""
    allowed = minutes[case.severity]
    match case.standing:
        case Step.ACKNOWLEDGED:
            return allowed.reach
        case Step.PATIENT_REACHED:
            return allowed.decide
        case Step.DECIDED:
            return _TO_CLOSE
        case _:
            return allowed.acknowledge


def present_contact(case: Case, contacts: Sequence[str]) -> str:
    """Say who was told last; the first on the list when nobody was."""
    told_last = [e.who for e in case.entries if e.step is Step.NURSE_NOTIFIED][-1:]
    _need_contacts(contacts)
    return told_last[0] if told_last and told_last[0] in contacts else contacts[0]


def next_contact(case: Case, contacts: Sequence[str]) -> str:
    """Choose whom to tell next: down the on-call list, and round again after its end."""
    if not any(e.step is Step.NURSE_NOTIFIED for e in case.entries):
        return present_contact(case, contacts)
    last = contacts.index(present_contact(case, contacts))
    return contacts[(last + 1) % len(contacts)]


def _need_contacts(contacts: Sequence[str]) -> None:
    if not contacts:
        raise NotAllowed("The on-call list is empty. Enter at least one contact for the surgeon.")


def _decision(case: Case) -> Entry:
    return next(e for e in reversed(case.standing_entries) if e.step is Step.DECIDED)


def _with(case: Case, entry: Entry) -> Case:
    if case.closed:
        raise NotAllowed(f"Escalation {case.id} is closed. Open a new one.")
    if entry.at < case.entries[-1].at:  # a clock set back must not reorder the log
        entry = replace(entry, at=case.entries[-1].at)
    return replace(case, entries=(*case.entries, entry))
