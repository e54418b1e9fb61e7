"""The nurse's worklist and the handover sheet: what needs someone, and who has it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.core.escalation import Step
from bot.service.practice import Practice
from bot.service.views_cards import (
    SECTIONS,
    STAFF_STEPS,
    TRIALS,
    Card,
    Section,
    cards,
    section_of,
)
from bot.store import worklist
from bot.store.engine import reading
from bot.store.worklist import Count

SHIFT = timedelta(hours=12)
_MOST = 100  # lines on a handover sheet
_TOPICS = tuple(section.topics for section in SECTIONS[:-1])


@dataclass(frozen=True, slots=True)
class Tally:
    """How much of one section is open, and how much of that nobody has taken."""

    section: Section
    open: int
    untaken: int


@dataclass(frozen=True, slots=True)
class NeedsYou:
    """The worklist: its cards by section, and what there is in all."""

    groups: tuple[tuple[Section, tuple[Card, ...]], ...]
    tallies: tuple[Tally, ...]
    page: int
    pages: int

    @property
    def open(self) -> int:
        """Open escalations of real patients."""
        return sum(tally.open for tally in self.tallies if tally.section != TRIALS)

    @property
    def untaken(self) -> int:
        """Those of them that nobody has taken."""
        return sum(tally.untaken for tally in self.tallies if tally.section != TRIALS)

    @property
    def cards(self) -> tuple[Card, ...]:
        """All cards of the page."""
        return tuple(card for _, cards in self.groups for card in cards)


def needs_you(practice: Practice, now: datetime, page: int = 1, size: int = 25) -> NeedsYou:
    """One page of the worklist."""
    with reading(practice.engine) as connection:
        counts = worklist.open_counts(connection)
        total = sum(count.number for count in counts)
        pages = max(1, -(-total // size))
        page = min(max(page, 1), pages)
        ids = worklist.open_in_order(connection, _TOPICS, size, (page - 1) * size)
        found = cards(connection, practice, ids, now)
    shown = (*SECTIONS, TRIALS)
    groups = tuple((s, tuple(c for c in found if c.section == s)) for s in shown)
    return NeedsYou(tuple(g for g in groups if g[1]), _tallies(counts), page, pages)


def _tallies(counts: Sequence[Count]) -> tuple[Tally, ...]:
    made = []
    for section in (*SECTIONS, TRIALS):
        own = [c for c in counts if section_of(c.topic, c.severity, trial=c.trial) == section]
        untaken = sum(c.number for c in own if not c.taken)
        made.append(Tally(section, sum(c.number for c in own), untaken))
    return tuple(made)


@dataclass(frozen=True, slots=True)
class Handover:
    """What the next shift must know. `more`: open escalations beyond the sheet's length."""

    untaken: tuple[Card, ...]
    in_hand: tuple[Card, ...]
    decided: tuple[Card, ...]
    closed: tuple[Card, ...]
    more: int
    since: datetime
    zone: str


def handover(practice: Practice, now: datetime) -> Handover:
    """Everything open, by who must do what, and what was closed in the last shift."""
    with reading(practice.engine) as connection:
        total = sum(count.number for count in worklist.open_counts(connection))
        ids = worklist.open_in_order(connection, _TOPICS, _MOST, 0)
        found = cards(connection, practice, ids, now)
        closed = cards(
            connection, practice, worklist.closed_since(connection, now - SHIFT, _MOST // 2), now
        )
        zone = worklist.usual_zone(connection)
    standing = [(c, c.case.standing) for c in found]
    in_hand = (Step.ACKNOWLEDGED, Step.PATIENT_REACHED)
    return Handover(
        untaken=tuple(c for c, s in standing if s not in STAFF_STEPS),
        in_hand=tuple(c for c, s in standing if s in in_hand),
        decided=tuple(c for c, s in standing if s is Step.DECIDED),
        closed=tuple(closed),
        more=max(0, total - len(ids)),
        since=now - SHIFT,
        zone=zone,
    )
