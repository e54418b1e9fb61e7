"""When the patient must be at the hospital.

The hospital's own stored time wins. Otherwise: two hours before the start, but never before the
doors open (05:30), so starts at 07:00, 07:15 and 07:30 all give 05:30. Common practice, no source;
both numbers are settings of the hospital, and a derived time is shown as such until confirmed.
"""

from dataclasses import dataclass
from datetime import datetime

from bot.core.countdown import elapsed, instant
from bot.core.fasting import start_of
from bot.core.protocol import Rules, Surgery


@dataclass(frozen=True, slots=True)
class Arrival:
    """The arrival, UTC. `doubtful` means that it contradicts the start: a person must look."""

    at: datetime
    derived: bool
    doubtful: bool = False


def arrival(rules: Rules, surgery: Surgery) -> Arrival | None:
    """Give the arrival, or None while neither it nor the start is known."""
    start = start_of(surgery)
    if surgery.arrive_at is not None:
        stored = instant(surgery.on, surgery.arrive_at, surgery.zone)
        return Arrival(stored, derived=False, doubtful=start is not None and stored > start)
    if start is None:
        return None
    doors = instant(surgery.on, rules.doors_open, surgery.zone)
    before = elapsed(start, -rules.arrive_before_minutes)
    # A start before the doors open is a typing error; never tell a patient to come after the start.
    return Arrival(min(max(before, doors), start), derived=True, doubtful=start <= doors)
