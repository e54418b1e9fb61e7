"""Where a dated occurrence may really go: out of quiet hours, and not before it can be sent."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.core.countdown import elapsed, local_date
from bot.core.occurrences import Occurrence
from bot.core.planned import NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Anchor, Candidate, Late, Rules, Surgery
from bot.core.quiet import evening_before, is_quiet, next_waking

CATCH_UP_DELAY = timedelta(minutes=15)  # the welcome comes first, then what should have come before
AHEAD_OF = frozenset({Anchor.START, Anchor.ARRIVAL, Anchor.LAST_FOOD, Anchor.LAST_DRINK})


@dataclass(frozen=True, slots=True)
class Place:
    """What placing needs to know. Nothing is sent before `horizon`, UTC."""

    rules: Rules
    candidate: Candidate
    surgery: Surgery
    horizon: datetime

    def allowed(self, moment: datetime, occurrence: Occurrence) -> bool:
        """Tell whether a message may go out at `moment`; the patient agrees only for themselves."""
        agreed = self.candidate.dawn_agreed and occurrence.prompt.to == "patient"
        dawn = occurrence.time_critical and agreed
        return dawn or not is_quiet(moment, self.surgery.zone, self.rules)


def place(occurrence: Occurrence, here: Place) -> PlannedPrompt | NotPlanned:
    """Give the message to send, or why there is none.

    1. A prompt in quiet hours moves to the nearest time that keeps its sense.
    2. A prompt whose time has passed follows its `late` rule, or catches up while it still helps.
    """
    if occurrence.due is None or occurrence.closes is None:
        return _not_planned(occurrence, "start_unknown")
    due, closes = _awake(occurrence.due, occurrence.closes, occurrence, here)
    the_day_before = _is_day_before(due, occurrence, here)
    if the_day_before and occurrence.prompt.evening_flow == "":
        return _not_planned(occurrence, "not_needed")
    if due >= here.horizon:
        return _planned(occurrence, due, closes, here)
    if occurrence.due >= here.horizon:  # only the evening before has passed
        ahead = _first_allowed(occurrence.due, occurrence, here)
        if ahead is None:
            return _not_planned(occurrence, "quiet_hours")
        return _planned(occurrence, ahead, closes, here)
    return _late(occurrence, closes, here)


def _late(occurrence: Occurrence, closes: datetime, here: Place) -> PlannedPrompt | NotPlanned:
    late = occurrence.prompt.late
    if late is Late.SKIP or (occurrence.repeated and closes < here.horizon):
        return _not_planned(occurrence, "not_needed")
    at = None if late is Late.NURSE else _first_allowed(closes, occurrence, here)
    if at is None:
        return _not_planned(occurrence, "too_late")
    return _planned(occurrence, at, closes, here, catch_up=True)


def _first_allowed(until: datetime, occurrence: Occurrence, here: Place) -> datetime | None:
    """Give the first moment from the horizon on, up to `until`, at which this may go out."""
    for at in _soon(occurrence, here):
        if at <= until:
            return at
    return None


def _soon(occurrence: Occurrence, here: Place) -> Iterator[datetime]:
    for at in (here.horizon + CATCH_UP_DELAY, here.horizon):
        dawn = here.allowed(at, occurrence)
        yield at if dawn else next_waking(at, here.surgery.zone, here.rules)


def _awake(
    due: datetime, closes: datetime, occurrence: Occurrence, here: Place
) -> tuple[datetime, datetime]:
    """Move a prompt out of quiet hours; its window moves along only after enrolment.

    - Enrolment: forward to the morning, for there was nothing before.
    - Time-critical without the patient's agreement, or ahead of an event of the day of surgery:
      back to the evening before, for afterwards it would be of no use.
    - The rest keeps its calendar day: before the morning it waits for it, late in the evening it
      comes an hour before quiet hours begin.
    """
    if here.allowed(due, occurrence):
        return due, closes
    zone, rules = here.surgery.zone, here.rules
    morning = next_waking(due, zone, rules)
    anchor = occurrence.prompt.when.anchor
    if anchor is Anchor.ENROLMENT:
        return morning, closes + (morning - due)
    same_day = local_date(morning, zone) == local_date(due, zone) != here.surgery.on
    ahead = occurrence.time_critical or anchor in AHEAD_OF
    if not ahead and same_day and morning <= closes:
        return morning, closes
    return evening_before(due, zone, rules), closes


def _planned(
    occurrence: Occurrence,
    due: datetime,
    closes: datetime,
    here: Place,
    catch_up: bool = False,
) -> PlannedPrompt:
    prompt, flow = occurrence.prompt, occurrence.prompt.flow
    days_left = (here.surgery.on - local_date(due, here.surgery.zone)).days
    values = {**occurrence.values, "days_left": str(days_left)}
    if _is_day_before(due, occurrence, here):
        values["evening_before"] = "yes"
        flow = prompt.evening_flow or flow
    item = occurrence.item if prompt.skip_if_done else None
    part = Part(prompt.id, flow, values, occurrence.key, item, catch_up)
    return PlannedPrompt(
        key=occurrence.key,
        parts=(part,),
        due=elapsed(due, 0),
        closes=elapsed(closes, 0),
        to=prompt.to,
        priority=prompt.priority,
        late=prompt.late,
        time_critical=occurrence.time_critical,
    )


def _is_day_before(due: datetime, occurrence: Occurrence, here: Place) -> bool:
    """Tell whether a time-critical prompt had to move to the day before: its text must say so."""
    if occurrence.due is None or not occurrence.time_critical:
        return False
    zone = here.surgery.zone
    return local_date(due, zone) < local_date(occurrence.due, zone)


def _not_planned(occurrence: Occurrence, reason: str) -> NotPlanned:
    prompt = occurrence.prompt
    return NotPlanned(
        prompt.id, prompt.flow, reason, occurrence.due, occurrence.values, occurrence.key
    )
