"""The life of an escalation, from the alarm to a decision that the patient knows of.

A case is its entries: an append-only list of what happened, when and by whom. Everything else, such
as where it stands, how grave it is and when someone must act (core/on_call.py), is worked out from
them. Every function returns a new case with one entry more, or raises NotAllowed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum


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

_NOTHING_NEW = {Step.PATIENT_TOLD, Step.ANSWERED, Step.SAME, Step.NOTED}
STANDINGS = frozenset(Step) - _NOTHING_NEW - {Step.NURSE_NOTIFIED}  # what says who must act next


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
        return next(e.step for e in reversed(self.standing_entries) if e.step in STANDINGS)

    @property
    def disposition(self) -> Disposition | None:
        """The last decision, or None when it is still to be made."""
        return Disposition(self.decision.detail["disposition"]) if self.decision else None

    @property
    def decision(self) -> Entry | None:
        """The entry of the last decision that counts, or None."""
        decided = (e for e in reversed(self.standing_entries) if e.step is Step.DECIDED)
        return next(decided, None)

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


def _with(case: Case, entry: Entry) -> Case:
    if case.closed:
        raise NotAllowed(f"Escalation {case.id} is closed. Open a new one.")
    if entry.at < case.entries[-1].at:  # a clock set back must not reorder the log
        entry = replace(entry, at=case.entries[-1].at)
    return replace(case, entries=(*case.entries, entry))
