"""The read side: threads, worklist, one patient's countdown, the next moment anything happens."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine

from bot.core.escalation import Case
from bot.core.planned import NotPlanned, PlannedPrompt
from bot.core.record import ItemStatus, Message, ThreadLine
from bot.service import cases
from bot.service.chart import Chart, load_chart
from bot.service.desk import Desk
from bot.service.outbox import LEFT_BEHIND
from bot.service.practice import Practice
from bot.store import due, escalations, inbox, outbox, patients, plans
from bot.store.engine import reading

BOT = "coach bot"


@dataclass(frozen=True, slots=True)
class Worklist:
    """One escalation as the nurse sees it."""

    case: Case
    patient: str
    deadline: datetime | None
    sbar: str


def threads(engine: Engine, patient: int | None = None) -> list[ThreadLine]:
    """Everything said to and by patient, coach and nurse, in order of time; one or all patients'.

    Messages out appear at the moment when they were sent, or with their state when they were not.
    """
    with reading(engine) as connection:
        out = outbox.messages_of(connection, patient)
        heard = inbox.inbound_lines(connection, patient)
    lines = [*heard, *(line_of(message) for message in out)]
    return sorted(lines, key=lambda line: (line.at, line.who == BOT))


def line_of(message: Message) -> ThreadLine:
    """A message out as a line of the thread."""
    at = message.changed_at if message.state == "sent" and message.changed_at else None
    return ThreadLine(
        at=at or message.queued_at,
        who=BOT,
        to=message.to_role,
        text=message.text,
        choices=message.choices,
        state=message.state,
        detail={
            "name": message.name,
            "prompt": message.prompt_key or "",
            "reason": message.reason,
            "address": message.address,
        },
    )


def worklist(
    practice: Practice, now: datetime, *, patient: int | None = None, closed: bool = False
) -> list[Worklist]:
    """Open escalations, the most pressing first; with `closed` all of them in order of opening."""
    with reading(practice.engine) as connection:
        read = escalations.all_cases if closed else escalations.open_cases
        found = []
        for case in read(connection, patient):
            desk = Desk(connection, practice, load_chart(connection, practice, case.patient), now)
            deadline, text = cases.due(desk, case), cases.sbar(desk, case)
            found.append(Worklist(case, desk.chart.patient.name, deadline, text))
    return found


def chart(practice: Practice, patient: int) -> Chart:
    """One patient's chart."""
    with reading(practice.engine) as connection:
        return load_chart(connection, practice, patient)


def items(practice: Practice, patient: int) -> dict[str, ItemStatus]:
    """What is recorded in one patient's countdown."""
    return dict(chart(practice, patient).items)


def planned(practice: Practice, patient: int) -> tuple[PlannedPrompt, ...]:
    """The prompts still to come, in order of time."""
    with reading(practice.engine) as connection:
        return plans.prompts_of(connection, load_chart(connection, practice, patient).operation)


def missed(practice: Practice, patient: int) -> list[NotPlanned]:
    """What could not be asked or said in time, for the nurse."""
    with reading(practice.engine) as connection:
        operation = load_chart(connection, practice, patient).operation
        return plans.missed_of(connection, operation)


def everyone(engine: Engine) -> list[int]:
    """All patients' ids."""
    with reading(engine) as connection:
        return patients.all_patients(connection)


def find(engine: Engine, reference: str) -> int | None:
    """The patient with the hospital's own reference."""
    with reading(engine) as connection:
        return patients.patient_by_reference(connection, reference)


def next_tick(engine: Engine) -> datetime | None:
    """The earliest moment at which the scheduler will have something to do; None when idle."""
    with reading(engine) as connection:
        return due.next_tick(connection)


def next_relay(engine: Engine) -> datetime | None:
    """The earliest moment at which the relay will have something to do; None when idle."""
    with reading(engine) as connection:
        return due.next_relay(connection, LEFT_BEHIND)


def next_moment(engine: Engine) -> datetime | None:
    """The earliest instant at which a tick or the relay will have something to do."""
    with reading(engine) as connection:
        return due.next_moment(connection, LEFT_BEHIND)
