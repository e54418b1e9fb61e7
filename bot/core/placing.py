"""Where a dated occurrence may really go: out of quiet hours, and not before it can be sent."""

from datetime import datetime, timedelta

from bot.core.countdown import elapsed, local_date
from bot.core.occurrences import Occurrence
from bot.core.planned import NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Anchor, Late, Rules, Surgery
from bot.core.quiet import evening_before, is_quiet, next_waking
from bot.core.value import value

CATCH_UP_DELAY = timedelta(minutes=15)  # the welcome comes first, then what should have come before
AHEAD_OF = frozenset({Anchor.START, Anchor.ARRIVAL, Anchor.LAST_FOOD, Anchor.LAST_DRINK})


@value
class Place:
    """What placing needs to know, whatever the time is."""

    rules: Rules
    surgery: Surgery
    dawn_agreed: bool = False

    def allowed(self, moment: datetime, occurrence: Occurrence) -> bool:
        """Tell whether a message may go out at `moment`; the patient agrees only for themselves."""
        agreed = self.dawn_agreed and occurrence.prompt.to == "patient"
        dawn = occurrence.time_critical and agreed
        return dawn or not is_quiet(moment, self.surgery.zone, self.rules)

    def soonest(self, moment: datetime, occurrence: Occurrence) -> datetime:
        """Give the first moment from `moment` on at which a message may go out."""
        if self.allowed(moment, occurrence):
            return moment
        return next_waking(moment, self.surgery.zone, self.rules)


@value
class Meant:
    """An occurrence, and its message as long as nothing is late, or why there is none."""

    occurrence: Occurrence
    message: PlannedPrompt | NotPlanned
    item: str | None  # not to be asked once this countdown item is done


def meant(occurrence: Occurrence, here: Place) -> Meant:
    """Move a prompt in quiet hours to the nearest time that keeps its sense."""
    return Meant(occurrence, _in_time(occurrence, here), _item(occurrence))


def _in_time(occurrence: Occurrence, here: Place) -> PlannedPrompt | NotPlanned:
    if occurrence.due is None or occurrence.closes is None:
        return _not_planned(occurrence, "start_unknown")
    due, closes = _awake(occurrence.due, occurrence.closes, occurrence, here)
    if _is_day_before(due, occurrence, here) and occurrence.prompt.evening_flow == "":
        return _not_planned(occurrence, "not_needed")
    return _planned(occurrence, due, closes, here)


def place(
    it: Meant, here: Place, horizon: datetime, put_off: datetime | None = None
) -> PlannedPrompt | NotPlanned:
    """Give the message to send, not before `horizon` (UTC), or why there is none.

    A prompt whose time has passed follows its `late` rule, or catches up while it still helps.
    `put_off` is the later time that an earlier plan gave it, to spread what comes late.
    """
    occurrence, message = it.occurrence, it.message
    if isinstance(message, NotPlanned) or message.due >= horizon or occurrence.due is None:
        return message
    if occurrence.due >= horizon:  # only the evening before has passed
        ahead = _first_allowed(occurrence.due, occurrence, here, horizon)
        if ahead is None:
            return _not_planned(occurrence, "quiet_hours")
        return _planned(occurrence, ahead, message.closes, here)
    return _late(occurrence, message.closes, here, horizon, put_off)


def _late(
    occurrence: Occurrence,
    closes: datetime,
    here: Place,
    horizon: datetime,
    put_off: datetime | None,
) -> PlannedPrompt | NotPlanned:
    if occurrence.repeated and closes < horizon:
        return _not_planned(occurrence, "not_needed")
    late = occurrence.prompt.late
    if late is Late.SEND:
        at = _first_allowed(closes, occurrence, here, horizon)
    else:  # late only after the day that it was given
        at = put_off if put_off is not None and horizon <= put_off <= closes else None
    if at is None:
        return _not_planned(occurrence, "not_needed" if late is Late.SKIP else "too_late")
    return _planned(occurrence, at, closes, here, catch_up=True)


def _first_allowed(
    until: datetime, occurrence: Occurrence, here: Place, horizon: datetime
) -> datetime | None:
    """Give the first moment from the horizon on, up to `until`, at which this may go out."""
    for at in (horizon + CATCH_UP_DELAY, horizon):
        allowed = here.soonest(at, occurrence)
        if allowed <= until:
            return allowed
    return None


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
    part = Part(prompt.id, flow, values, occurrence.key, _item(occurrence), catch_up)
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


def _item(occurrence: Occurrence) -> str | None:
    return occurrence.item if occurrence.prompt.skip_if_done else None


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
