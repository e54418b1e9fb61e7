"""Turns what a story left behind, phones and log, into the lines of its three threads."""

from collections.abc import Iterator
from datetime import date, datetime

from bot.core.escalation import Case, Disposition, Entry, Step
from bot.play.phones import Phones, Slip
from bot.play.scenario import RecordAct, Scenario, StoryEvent
from bot.play.threads import Line, Thread
from bot.service import views
from bot.service.practice import Practice

_SAYS = {
    Step.OPENED: "escalation opened",
    Step.PATIENT_TOLD: "patient told what to do",
    Step.NURSE_NOTIFIED: "nurse notified",
    Step.ANSWERED: "patient answered",
    Step.WORSE: "a further alarm, worse",
    Step.SAME: "a further alarm, the same",
    Step.RETURNED: "back to the nurse",
    Step.ACKNOWLEDGED: "acknowledged",
    Step.PATIENT_REACHED: "patient reached",
    Step.DECIDED: "decided",
    Step.CLOSED: "closed",
    Step.NOTED: "note",
    Step.UNDONE: "taken back",
}


def tell(story: Scenario, phones: Phones, practice: Practice, now: datetime) -> list[Line]:
    """All lines, in no particular order."""
    cases = [found.case for found in views.worklist(practice, now, closed=True)]
    return [
        *(_from_phone(story, slip) for slip in phones.slips),
        *(line for case in cases for line in _from_log(case)),
        *_from_story(story, now),
    ]


def surgery_dates(
    story: Scenario, practice: Practice, now: datetime
) -> list[tuple[datetime, date | None]]:
    """From when on the surgery was planned for which day; None while a new day is looked for."""
    known: list[tuple[datetime, date | None]] = [(story.instant(story.enrolled), story.surgery.on)]
    for found in views.worklist(practice, now, closed=True):
        known += [(e.at, None) for e in found.case.entries if _takes_date_away(e)]
    for event in story.story:
        if event.surgery and (event.surgery.on or event.surgery.cancelled):
            known.append((story.instant(event.at), event.surgery.on))
    return sorted(known, key=lambda pair: pair[0])


def _takes_date_away(entry: Entry) -> bool:
    gone = (Disposition.POSTPONED, Disposition.CANCELLED)
    return entry.step is Step.DECIDED and entry.detail.get("disposition") in gone


def _from_log(case: Case) -> Iterator[Line]:
    """The case's log. Once everyone on call was told, further rounds would only fill the page."""
    told: set[str] = set()
    for entry in case.entries:
        if entry.step is Step.NURSE_NOTIFIED:
            if entry.who in told:
                continue
            told.add(entry.who)
        if entry is case.opened or not _of_one_message(entry, case.opened):
            yield _logged(case, entry)


def _of_one_message(entry: Entry, opened: Entry) -> bool:
    """A further reason in the message that opened the case is no further alarm."""
    return entry.at == opened.at and entry.words == opened.words and bool(entry.reason)


def _from_phone(story: Scenario, slip: Slip) -> Line:
    coachs = story.coach is not None and slip.address == story.coach.phone
    name = story.coach.name if coachs and story.coach else story.patient.name
    thread = Thread.COACH if coachs else Thread.PATIENT
    offered = "  ".join(f"{place} {label}" for place, label in enumerate(slip.choices, 1))
    text = f"{slip.text}\n{offered}" if offered else slip.text
    return Line(slip.when, thread, name.split()[0], text, slip.written)


def _logged(case: Case, entry: Entry) -> Line:
    said = [f"No. {case.id} {_SAYS[entry.step]}"]
    if entry.step in (Step.OPENED, Step.WORSE, Step.SAME):
        said.append(f": {entry.reason.replace('_', ' ')} ({entry.severity})")
    elif entry.step not in (Step.PATIENT_TOLD, Step.ANSWERED, Step.RETURNED):
        said.append(f": {entry.who}")
    if entry.words:
        said.append(f'\npatient wrote: "{entry.words}"')
    details = [f"{name.replace('_', ' ')}: {value}" for name, value in entry.detail.items()]
    said += [f"\n{text}" for text in (*details, entry.note) if text]
    return Line(entry.at, Thread.NURSE, entry.who, "".join(said))


def _from_story(story: Scenario, now: datetime) -> Iterator[Line]:
    for event in story.story:
        text = _narrated(event)
        if text and story.instant(event.at) <= now:
            yield Line(story.instant(event.at), Thread.STORY, "", text)


def _narrated(event: StoryEvent) -> str | None:
    change = event.surgery
    if event.record is not None:
        return _entered(event.record)
    if change is None:
        return event.note
    if change.side or change.joint:
        return f"Scheduling corrects the record: {change.side or ''} {change.joint or ''}".rstrip()
    if change.cancelled:
        return "The surgery is cancelled."
    day = f" {change.on:%A} {change.on.day} {change.on:%B %Y}" if change.on else ""
    clock = f" {change.starts_at:%H:%M}" if change.starts_at else ""
    return f"Scheduling enters the surgery:{day}{clock}."


def _entered(act: RecordAct) -> str:
    said = []
    if act.pause:
        said.append("pauses the messages")
    if act.resume:
        said.append("lets the messages go on")
    if act.back_in:
        said.append(f"brings the patient back, who said: {act.back_in}")
    if act.hold:
        said.append(f"enters {act.hold.medicine}, last dose {act.hold.last_dose_on:%d %b}")
    said += [f"enters {name.replace('_', ' ')}: {value}" for name, value in act.facts.items()]
    if act.not_needed:
        said.append(f"takes {act.not_needed.replace('_', ' ')} off the list")
    if act.done:
        said.append(f"marks {act.done.replace('_', ' ')} as done")
    return f"{act.by} {', '.join(said)}."
