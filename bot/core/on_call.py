"""Who must act on an escalation by when, and who is told when nobody did."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from bot.core.escalation import STANDINGS, Case, NotAllowed, Step
from bot.core.flow import Allowed
from bot.core.office import next_opening
from bot.core.protocol import OfficeHours

_TO_CLOSE = timedelta(hours=24)
_CLOCK_STARTS = STANDINGS | {Step.NURSE_NOTIFIED}


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
    if (recheck := _recheck(case)) is not None:
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


def is_to_look_again(case: Case, now: datetime) -> bool:
    """Say whether a case that is watched has reached the moment to look again."""
    at = _recheck(case)
    return at is not None and at <= now and not case.closed


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


def _recheck(case: Case) -> datetime | None:
    """The moment to look again at a case that is watched; None when it is not."""
    if case.standing is not Step.DECIDED or case.decision is None:
        return None
    at = case.decision.detail.get("recheck_at")
    return None if at is None else datetime.fromisoformat(at)
