"""The outcome of planning: dated prompts, what waits, what can no longer be done."""

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime

from bot.core.protocol import Late, Priority
from bot.core.value import value


@value
class Part:
    """One prompt inside a planned message."""

    prompt: str
    flow: str
    values: Mapping[str, str] = field(default_factory=dict)  # dates as ISO text, see core/values.py
    key: str = ""  # this part's own key; stays the same whatever message carries it
    item: str | None = None  # not to be asked once this countdown item is done
    catch_up: bool = False  # comes later than first meant, after a late enrolment


@value
class PlannedPrompt:
    """One message to come. `key` is unique within the countdown and stable across re-planning."""

    key: str
    parts: tuple[Part, ...]
    due: datetime  # UTC
    closes: datetime  # UTC; after this it is stale
    to: str
    priority: Priority
    late: Late = Late.SEND
    time_critical: bool = False


@value
class NotPlanned:
    """A prompt that has no time: it waits for something, or it is too late for it."""

    prompt: str
    flow: str
    reason: str  # "start_unknown", "too_late", "medicine_date_past", "quiet_hours", "not_needed"
    was_due: datetime | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    key: str = ""


@value
class Countdown:
    """A patient's dated countdown."""

    prompts: tuple[PlannedPrompt, ...]
    waiting: tuple[NotPlanned, ...] = ()  # will be planned once the start time is known
    missed: tuple[NotPlanned, ...] = ()  # for the nurse
    skipped: tuple[NotPlanned, ...] = ()  # too late and of no use any more; nobody needs to act
    nurse_due: datetime | None = None  # by when the nurse is told that the start is missing
