"""One escalation from its first word to its end: its log and the messages around it, in time."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.core.escalation import Case, Entry, Step
from bot.core.record import ThreadLine
from bot.service.practice import Practice
from bot.store import stories
from bot.store.engine import reading

BOT = "coach bot"
_BEFORE = timedelta(minutes=1)  # the message that raised it was handled in the same moment
_AFTER = timedelta(minutes=5)  # what the patient was told last goes out after the closing


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happened: an entry of the log, or a message either way."""

    at: datetime
    entry: Entry | None = None
    line: ThreadLine | None = None
    taken_back: bool = False


def story(practice: Practice, case: Case) -> list[Moment]:
    """Everything about a case in order of time."""
    until = case.entries[-1].at + _AFTER if case.closed else None
    with reading(practice.engine) as connection:
        lines = stories.lines_around(connection, case.patient, case.opened.at - _BEFORE, until)
    entries = [
        Moment(entry.at, entry=entry, taken_back=_taken_back(case, place))
        for place, entry in enumerate(case.entries)
    ]
    said = [Moment(line.at, line=line) for line in lines]
    return sorted([*said, *entries], key=lambda moment: (moment.at, _rank(moment)))


def _rank(moment: Moment) -> int:
    """Within one instant: what was written, then what followed in the log, then what was sent."""
    if moment.line is None:
        return 1
    return 2 if moment.line.who == BOT else 0


def _taken_back(case: Case, place: int) -> bool:
    after = case.entries[place + 1 : place + 2]
    return bool(after) and after[0].step is Step.UNDONE
