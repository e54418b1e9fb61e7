"""The program report: completion, silence, alarms and times to close, changes of date."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

from bot.core.escalation import GRAVITY
from bot.service.practice import Practice
from bot.service.views_readiness import item_columns, titles
from bot.store import figures, worklist
from bot.store.engine import reading
from bot.store.figures import Alarm, Cohort, Moved

AHEAD, BACK = timedelta(days=42), timedelta(days=90)  # the span shown unless another is asked for
SILENT_DAYS = (1, 3, 7)
_NO_ANSWER = frozenset({"not_answered", "not_asked", "later"})


@dataclass(frozen=True, slots=True)
class Completion:
    """One item among those whose day has come. `none`: nothing on record."""

    title: str
    done: int
    not_needed: int
    not_done: int
    none: int

    @property
    def share(self) -> float | None:
        """The share that did it, of those with an answer that it was theirs to do; None: nobody."""
        theirs = self.done + self.not_done
        return self.done / theirs if theirs else None


@dataclass(frozen=True, slots=True)
class Times:
    """Escalations of one gravity, with the median minutes to each step and how many took it."""

    severity: str
    number: int
    open: int
    taken: tuple[int, float | None]
    reached: tuple[int, float | None]
    closed: tuple[int, float | None]


@dataclass(frozen=True, slots=True)
class Count:
    """One bar."""

    label: str
    number: int


@dataclass(frozen=True, slots=True)
class Report:
    """All figures, and for whom."""

    cohort: Cohort
    sizes: Mapping[str, int]
    come: int
    completion: tuple[Completion, ...]
    silence: tuple[Count, ...]
    alarms: tuple[Times, ...]
    redatings: tuple[Count, ...]
    surgeons: tuple[str, ...]
    zone: str


def cohort_now(practice: Practice, now: datetime) -> Cohort:
    """The span that the report opens with."""
    with reading(practice.engine) as connection:
        today = now.astimezone(ZoneInfo(worklist.usual_zone(connection))).date()
    return Cohort(today - BACK, today + AHEAD)


def report(practice: Practice, cohort: Cohort, now: datetime) -> Report:
    """Every figure of the cohort, counted from the record as it stands."""
    with reading(practice.engine) as connection:
        zone = worklist.usual_zone(connection)
        today = now.astimezone(ZoneInfo(zone)).date()
        come, items = figures.completion(connection, cohort, today)
        limits = [now - timedelta(days=days) for days in SILENT_DAYS]
        silence = figures.last_words(connection, cohort, today, limits)
        alarms = figures.alarms(connection, cohort)
        moves = figures.moves(connection, cohort)
        return Report(
            cohort=cohort,
            sizes=figures.sizes(connection, cohort, today),
            come=come,
            completion=_completion(practice, come, items),
            silence=_silence(silence),
            alarms=_times(alarms),
            redatings=_redatings(moves),
            surgeons=tuple(worklist.surgeons(connection)),
            zone=zone,
        )


def _completion(
    practice: Practice, come: int, items: Mapping[str, Mapping[str, int]]
) -> tuple[Completion, ...]:
    columns = item_columns(practice)
    names = titles(practice, columns)
    found = []
    for column in columns:
        values: dict[str, int] = {}
        for item, counted in items.items():
            for value, number in counted.items() if column.covers(item) else ():
                values[value] = values.get(value, 0) + number
        done = values.pop("done", 0) + values.pop("all_clear", 0)
        not_needed = values.pop("not_needed", 0)
        other = sum(n for value, n in values.items() if value not in _NO_ANSWER)
        none = max(0, come - done - not_needed - other)
        found.append(Completion(names.get(column.name, column.name), done, not_needed, other, none))
    return tuple(one for one in found if one.done or one.not_needed or one.not_done)


def _silence(counts: Sequence[int]) -> tuple[Count, ...]:
    labels = ["Wrote in the last day"]
    labels += [f"{a} to {b} days ago" for a, b in pairwise(SILENT_DAYS)]
    labels += [f"More than {SILENT_DAYS[-1]} days ago", "Never wrote"]
    return tuple(Count(label, number) for label, number in zip(labels, counts, strict=True))


def _times(alarms: Sequence[Alarm]) -> tuple[Times, ...]:
    found = []
    for severity in reversed(GRAVITY):
        own = [alarm for alarm in alarms if alarm.severity == severity]
        if own:
            found.append(
                Times(
                    severity,
                    len(own),
                    sum(alarm.closed_at is None for alarm in own),
                    _minutes([(a.opened_at, a.taken_at) for a in own]),
                    _minutes([(a.opened_at, a.reached_at) for a in own]),
                    _minutes([(a.opened_at, a.closed_at) for a in own]),
                )
            )
    return tuple(found)


def _minutes(spans: Sequence[tuple[datetime, datetime | None]]) -> tuple[int, float | None]:
    lengths = [(end - begin).total_seconds() / 60 for begin, end in spans if end is not None]
    return len(lengths), median(lengths) if lengths else None


def _redatings(moves: Sequence[Moved]) -> tuple[Count, ...]:
    """How far ahead of the day that stood then a change became known."""
    buckets = {"A week or more ahead": 0, "1 to 6 days ahead": 0, "On the day": 0, "Afterwards": 0}
    for moved in moves:
        days = (moved.old - moved.at.astimezone(ZoneInfo(moved.zone)).date()).days
        place = 0 if days >= 7 else 1 if days >= 1 else 2 if days == 0 else 3
        buckets[list(buckets)[place]] += 1
    return tuple(Count(label, number) for label, number in buckets.items())
