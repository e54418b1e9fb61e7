"""Compares what was asked, and when, with the timetable that follows from the protocol file."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.simulate.evidence import Evidence, Line
from bot.simulate.faults import STEP
from bot.simulate.lives import ALWAYS, Epoch, Life
from bot.simulate.network import Taken
from bot.simulate.timetable import Asking, is_quiet, next_morning

PROMPTLY = timedelta(minutes=5)  # a prompt goes out this soon after its time
CATCH_UP = timedelta(minutes=15)  # what should have come before comes so long after the yes
SETTLED_BY = timedelta(hours=12)  # before the end: what was due earlier must be settled
ASKING_CONSENT = "consent_first"
_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Opened:
    """A prompt of the record, by the key that it has in the timetable."""

    key: str
    row: Line

    @property
    def at(self) -> datetime:
        """When its fate was decided."""
        moment: datetime = self.row["changed_at"]
        return moment


@dataclass(frozen=True, slots=True)
class Compared:
    """One run's evidence, ordered for comparing."""

    logs: Evidence
    opened: Mapping[int, Mapping[str, list[Opened]]]  # patient -> key -> prompts
    put_off: frozenset[str]  # prompts that met a busy database
    outbound: Mapping[str, Line]  # by key
    answers: frozenset[tuple[int, datetime]]  # (patient, moment at which something was heard)
    phones: Mapping[str, list[Taken]]  # by address, in order

    def slack(self, moment: datetime) -> timedelta:
        """How far the service's clock may have been wrong around that time."""
        near = STEP + _HOUR
        wrong = (s for s in self.logs.spans if s.kind == "clock")
        is_near = any(s.start - near <= moment <= s.end + near for s in wrong)
        return STEP + PROMPTLY if is_near else PROMPTLY

    def was_down(self, since: datetime, until: datetime) -> bool:
        """True when the service was not there for some of that time."""
        spans = (s for s in self.logs.spans if s.kind == "down")
        return any(s.start - PROMPTLY <= until and since <= s.end + PROMPTLY for s in spans)


def compare(logs: Evidence) -> Compared:
    """Order a run's evidence."""
    opened: defaultdict[int, defaultdict[str, list[Opened]]]
    opened = defaultdict(lambda: defaultdict(list))
    for row in logs.prompts:
        for part in row["parts"]:
            key = part["key"].split("+")[0]
            opened[row["patient_id"]][key].append(Opened(key, row))
    late = (act["detail"] for act in logs.acts if act["what"] == "put off after an error")
    phones: defaultdict[str, list[Taken]] = defaultdict(list)
    for taken in logs.taken:
        phones[taken.address].append(taken)
    return Compared(
        logs, opened, frozenset(each["what"] for each in late),
        {row["key"]: row for row in logs.outbound},
        frozenset((row["patient_id"], row["handled_at"]) for row in logs.inbound), phones,
    )  # fmt: skip


Window = tuple[datetime, datetime]


def required(all_: Compared, life: Life) -> Iterator[tuple[Epoch, Asking, Window]]:
    """All that this patient must have been asked by now, each with the time in which."""
    for epoch in life.epochs:
        for asking in epoch.askings:
            window = _required(all_, life, epoch, asking)
            if window is not None:
                yield epoch, asking, window


def not_asked(all_: Compared, life: Life) -> Iterator[str]:
    """What was due for this patient, and was neither asked in time nor needless by then."""
    for epoch, asking, window in required(all_, life):
        if not _was_asked(all_, life, epoch, asking, window):
            found = all_.opened[life.patient].get(asking.key, [])
            told = "; ".join(f"{o.row['state']} {o.row['reason']} {o.at}" for o in found)
            yield (
                f"prompt: {asking.key} of patient {life.patient} was to be asked "
                f"{window[0]} to {window[1]}; on record: {told or 'nothing'}"
            )


def _required(all_: Compared, life: Life, epoch: Epoch, asking: Asking) -> Window | None:
    """The time in which it must have been asked; None where it need not be."""
    first, begun = life.first_yes, epoch is life.epochs[0]
    if first is None or life.is_meant(asking.line, epoch, asking.at) is not True:
        return None
    at, until = asking.at, asking.until if not asking.firm else asking.at
    if at < first and begun and not asking.coach:
        caught = _caught_up(asking, life, epoch, first)
        if caught is None:
            return None
        at, until = first, caught if asking.firm else asking.until
    elif at < epoch.since + STEP + _HOUR and not (begun and at >= first):
        return None
    if until > epoch.until - STEP - _HOUR or until > all_.logs.end - SETTLED_BY:
        return None
    if not life.wants_all_of(at, until + _HOUR):
        return None
    if asking.coach and not (life.has_coach(at - _HOUR) and life.has_coach(until + _HOUR)):
        return None
    return at, until


def _caught_up(asking: Asking, life: Life, epoch: Epoch, first: datetime) -> datetime | None:
    """When what was due before the yes is asked at the latest; None when it is left out."""
    late, over = asking.line["late"], asking.until < first
    if late != "send" or (asking.repeated and over) or asking.meant >= first:
        return None
    soon = next_morning(first + CATCH_UP, life.house, epoch.booking)
    return soon if soon <= asking.until else None


def _was_asked(all_: Compared, life: Life, epoch: Epoch, asking: Asking, window: Window) -> bool:
    at, until = window
    done = life.done.get((asking.item or "", epoch.generation), ALWAYS)
    slack = all_.slack(at)
    if done <= until + slack:
        return True
    for opened in all_.opened[life.patient].get(asking.key, []):
        state, excused = opened.row["state"], f"prompt {opened.row['id']}" in all_.put_off
        if state == "sent":
            once = not asking.firm  # teaching that was said for an earlier date is not said again
            lower = life.enrolled if once else _earliest(asking, epoch, at) - slack
            if lower <= opened.at <= until + slack or excused:
                return True
        excused |= all_.was_down(at, until) or not life.wants(opened.at)  # joined an earlier one
        excused |= opened.row["reason"] == "already done"  # taken back since
        excused |= slack > PROMPTLY  # by a clock set forward it was late before its time
        if state in ("missed", "skipped", "sent") and excused:
            return True
    return False


def _earliest(asking: Asking, epoch: Epoch, at: datetime) -> datetime:
    """Teaching may join another message of its day; all else comes at its moment."""
    if asking.firm:
        return at
    here = epoch.booking.clock(at)
    return epoch.booking.instant(here.date(), here.min.time())


def at_wrong_times(all_: Compared, life: Life) -> Iterator[str]:
    """What was asked and is not in the timetable, or comes later there."""
    for key, found in all_.opened[life.patient].items():
        for opened in found:
            if opened.row["state"] == "sent" and opened.row["to_role"] != "nurse":
                why = _wrong(all_, life, key, opened.at, "early")
                if why:
                    yield f"prompt: {key} of patient {life.patient} at {opened.at}: {why}"


def stale(all_: Compared, life: Life) -> Iterator[str]:
    """What was asked when it was of no use any more, by the record or by what the phones got."""
    for key, found in all_.opened[life.patient].items():
        for opened in found:
            if opened.row["state"] == "sent" and _wrong(all_, life, key, opened.at, "late"):
                yield f"prompt: {key} of patient {life.patient} at {opened.at} was too late"


def _wrong(all_: Compared, life: Life, key: str, moment: datetime, kind: str) -> str:
    """Why a prompt does not belong to this moment: "early" (or not theirs) or "late"."""
    if key == ASKING_CONSENT:
        asked_before = life.first_yes is None or moment <= life.first_yes
        return "" if asked_before or kind == "late" else "consent was on record"
    slack, reasons = all_.slack(moment), {"early": "not in the timetable", "late": ""}
    for epoch in life.at(moment, slack):
        for asking in epoch.askings:
            if asking.key != key or life.is_meant(asking.line, epoch, moment) is False:
                continue
            early = moment < _earliest(asking, epoch, asking.at) - slack
            late = moment > asking.until + slack
            if not early and not late:
                return ""
            reasons["early"] = f"not before {asking.at}" if early else ""
            reasons["late"] = "" if early else f"of no use after {asking.until}"
    return reasons[kind]


def messages(all_: Compared, life: Life) -> Iterator[str]:
    """What phones got about a planned prompt after its time, or about a date that was moved."""
    for taken, row in _unasked(all_, life):
        key = str(row["prompt_key"]).split("+")[0]
        if _wrong(all_, life, key, taken.at, "late"):
            yield f"out: {row['key']} about {key} to {taken.address} at {taken.at} was too late"


def at_night(all_: Compared, life: Life) -> Iterator[str]:
    """Prompts that woke somebody who had not agreed to that."""
    for taken, row in _unasked(all_, life):
        key, moment = str(row["prompt_key"]).split("+")[0], taken.at
        slack = all_.slack(moment)
        may = any(
            asking.key == key and asking.urgent and epoch.booking.dawn
            for epoch in life.at(moment, _DAY)
            for asking in epoch.askings
        )
        booking = life.epochs[0].booking
        night = all(is_quiet(m, life.house, booking) for m in (moment - slack, moment + slack))
        if night and not may:
            yield f"out: {row['key']} about {key} to {taken.address} at {booking.clock(moment)}"


def _unasked(all_: Compared, life: Life) -> Iterator[tuple[Taken, Line]]:
    """What a patient's phone got about a prompt and not in answer to its own words."""
    for taken in all_.phones.get(life.address, ()):
        row = all_.outbound.get(taken.key)
        if row is None or not row["prompt_key"]:
            continue
        if (life.patient, row["queued_at"]) not in all_.answers:
            yield taken, row
