"""Slips and meetings: taking an entry back, adding a note, and two people on one case.

The log only grows. What is taken back stays in it, followed by an entry that says so.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from bot.core.escalation import Case, Entry, NotAllowed, Step

UNDO_WITHIN = timedelta(minutes=5)  # our choice: long enough to notice a slip
# A decision is not among them: the patient is told of it at once. A new decision corrects it.
_TAKEN_BACK = frozenset({Step.ACKNOWLEDGED, Step.PATIENT_REACHED, Step.NOTED, Step.CLOSED})
# What someone must have seen before they act; the rest only adds to what they know.
_MATTERS = frozenset(
    {
        Step.WORSE,
        Step.RETURNED,
        Step.ACKNOWLEDGED,
        Step.PATIENT_REACHED,
        Step.DECIDED,
        Step.CLOSED,
        Step.UNDONE,
    }
)


class Overtaken(NotAllowed):
    """Something happened to the case after the person looked; `news` says what, oldest first."""

    def __init__(self, case: Case, news: tuple[Entry, ...]) -> None:
        told = "; ".join(f"{entry.who}: {entry.step}" for entry in news)
        super().__init__(
            f"Escalation {case.id} has changed since you opened it ({told}). Nothing was saved."
            " Read what happened, then act if it is still needed."
        )
        self.news = news


def news_since(case: Case, seen: int) -> tuple[Entry, ...]:
    """What has happened since someone saw `seen` entries that they must know before acting."""
    return tuple(entry for entry in case.entries[seen:] if entry.step in _MATTERS)


def refuse_if_overtaken(case: Case, seen: int | None) -> None:
    """Raise Overtaken when anything that matters is new to the person; None: they do not say."""
    if seen is not None and (news := news_since(case, seen)):
        raise Overtaken(case, news)


def noted(case: Case, who: str, note: str, now: datetime) -> Case:
    """Add a note, such as a call that nobody answered. No clock stops for it."""
    if not note.strip():
        raise NotAllowed("The note is empty. Write what you did or heard.")
    if case.closed:
        raise NotAllowed(f"Escalation {case.id} is closed. Open a new one.")
    entry = Entry(Step.NOTED, max(now, case.entries[-1].at), who, note)
    return replace(case, entries=(*case.entries, entry))


def can_undo(case: Case, who: str, now: datetime) -> bool:
    """Say whether the last entry is this person's own, of a kind to take back, and fresh."""
    last = case.entries[-1]
    return last.step in _TAKEN_BACK and last.who == who and now - last.at <= UNDO_WITHIN


def undo(case: Case, who: str, now: datetime) -> Case:
    """Take back one's own last entry within a few minutes. Raises NotAllowed otherwise."""
    last = case.entries[-1]
    if not can_undo(case, who, now):
        raise NotAllowed(
            f"The last entry ('{last.step}' by {last.who}) cannot be taken back: only one's own,"
            f" within {UNDO_WITHIN.seconds // 60} minutes, and never a decision, for the patient"
            " was told of it. Write a new decision instead."
        )
    entry = Entry(Step.UNDONE, max(now, last.at), who, detail={"undone": str(last.step)})
    return replace(case, entries=(*case.entries, entry))
