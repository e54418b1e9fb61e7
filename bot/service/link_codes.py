"""The codes of links, and who writes when a message comes by one."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.identity import Check
from bot.core.one_way import hashed
from bot.core.record import Party
from bot.service.desk import Desk
from bot.store import audit, links
from bot.store.links import LinkOwner

LINK_LASTS = timedelta(hours=72)  # our choice: a weekend between the visit and the first try


@dataclass(frozen=True, slots=True)
class Caller:
    """A phone that came by a link. `owner` is None when the link opens nothing."""

    owner: LinkOwner | None
    check: Check | None = None
    opened: bool = False  # the link was opened by this very message
    known: Party | None = None  # the phone is on record already

    @property
    def patient(self) -> int | None:
        """The patient in whose thread the words stand."""
        return self.owner.patient if self.owner else None


def keep_code(desk: Desk, code: str, coach: int | None = None) -> None:
    """Keep the code of a new link, the patient's or a coach's.

    Raises ValueError without a date of birth to check, and for a coach whose phone is known.
    """
    if desk.chart.patient.born is None:
        raise ValueError(
            "The link asks for the year of birth, and none is on record. Enter the date of birth."
        )
    if coach is not None and not waits_for_link(desk, coach):
        raise ValueError("This coach's telephone is on record already, or they have left.")
    owner = LinkOwner(desk.patient, coach)
    links.put_code(desk.connection, hashed(code), owner, desk.now, desk.now + LINK_LASTS)
    what = "made a link" if coach is None else "made a link for a coach"
    audit.note(desk.connection, desk.staff, what, desk.patient, desk.now)


def waits_for_link(desk: Desk, coach: int) -> bool:
    """True of a coach, still wanted, whose phone is not known yet."""
    found = next((each for each in desk.chart.coaches if each.id == coach), None)
    return found is not None and found.left_at is None and found.waiting


def caller_of(
    connection: Connection, incoming: Incoming, known: Party | None, now: datetime
) -> Caller | None:
    """Who writes, if this message opens a link or comes from a phone that is being checked.

    `known` is whose address it is on record already.
    """
    if known is not None and incoming.enrol is None:
        return None
    checked = links.check_of(connection, incoming.channel, incoming.address)
    if incoming.enrol is None:
        return Caller(*checked) if checked else None
    owner = links.owner_of_code(connection, hashed(incoming.enrol), now)
    if known is not None:
        own = LinkOwner(known.patient, known.coach)
        return Caller(owner or own, known=known, opened=owner is not None)
    if owner is not None:
        return Caller(owner, Check(), opened=True)
    return Caller(*checked) if checked else Caller(None)
