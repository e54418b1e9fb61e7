"""What an audit may find, in two kinds: what must never be, and what must come about in time."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from enum import StrEnum


class Check(StrEnum):
    """Which promises a run is about.

    Safety: at no moment a wrong thing, however long and hard the faults strike. Liveness: after
    the faults have stopped all that is due comes about within stated times.
    """

    SAFETY = "safety"
    LIVENESS = "liveness"
    BOTH = "both"


SAFETY = ("doubled", "out_of_order", "at_wrong_times", "stale", "after_stop", "without_consent")
LIVENESS = ("lost", "not_asked", "alarms_unanswered", "stuck")


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything that should not be, in words, by kind. All empty: the run kept its promises."""

    doubled: list[str] = field(default_factory=list)
    out_of_order: list[str] = field(default_factory=list)
    at_wrong_times: list[str] = field(default_factory=list)  # too early, at night, not theirs
    stale: list[str] = field(default_factory=list)  # too late to be of use, or about an old date
    after_stop: list[str] = field(default_factory=list)
    without_consent: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    not_asked: list[str] = field(default_factory=list)  # due by the protocol, and not asked in time
    alarms_unanswered: list[str] = field(default_factory=list)
    stuck: list[str] = field(default_factory=list)  # the service came round in vain

    @property
    def clean(self) -> bool:
        """True when nothing was found."""
        return not any(lines for _, lines in self.by_kind())

    def by_kind(self) -> Iterator[tuple[str, list[str]]]:
        """Each kind with what was found of it."""
        for each in fields(self):
            yield each.name, getattr(self, each.name)
