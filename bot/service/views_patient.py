"""One patient's file: the thread, the countdown, facts, medicines, coaches, what is open."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from bot.core.arrival import Arrival, arrival
from bot.core.readiness import Asking, Column, Mark, Sign, mark
from bot.core.record import ThreadLine
from bot.service import views
from bot.service.chart import Chart, load_chart
from bot.service.practice import Practice
from bot.service.views_cards import Card, cards
from bot.service.views_readiness import Standing, item_columns, standings, titles
from bot.store import audit, escalations, inbox, outbox, person
from bot.store.engine import reading
from bot.store.person import Address, ConsentGiven, Dated, FactTold

LAST_LINES = 100  # of the thread, unless all are asked for


@dataclass(frozen=True, slots=True)
class Planned:
    """One message of the countdown, as the nurse reads it."""

    dated: Dated
    title: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class PatientFile:
    """Everything that stands on the patient's page."""

    chart: Chart
    standing: Standing
    columns: tuple[Column, ...]
    titles: Mapping[str, str]
    countdown: tuple[Planned, ...]
    thread: tuple[ThreadLine, ...]
    lines: int  # of the whole thread
    facts: tuple[FactTold, ...]
    consents: tuple[ConsentGiven, ...]
    addresses: tuple[Address, ...]
    open: tuple[Card, ...]
    closed: int
    deeds: tuple[tuple[datetime, str, str], ...]
    arrival: Arrival | None

    @property
    def zone(self) -> str:
        """The hospital's zone."""
        return self.chart.operation.surgery.zone


def patient_file(
    practice: Practice, patient: int, now: datetime, *, whole: bool = False
) -> PatientFile:
    """The file of one patient. Raises LookupError for an unknown id."""
    with reading(practice.engine) as connection:
        chart = load_chart(connection, practice, patient)
        standing = standings(connection, practice, [patient], now)[0]
        lines = _thread(connection, patient)
        cases = escalations.open_cases(connection, patient)
        everything = escalations.all_cases(connection, patient)
        surgery = chart.operation.surgery
        return PatientFile(
            chart=chart,
            standing=standing,
            columns=item_columns(practice),
            titles=titles(practice, item_columns(practice)),
            countdown=countdown_of(connection, practice, chart, now),
            thread=tuple(lines if whole else lines[-LAST_LINES:]),
            lines=len(lines),
            facts=tuple(person.facts_told(connection, patient)),
            consents=tuple(person.consents_of(connection, patient)),
            addresses=tuple(person.addresses_of(connection, patient)),
            open=tuple(cards(connection, practice, [c.id for c in cases], now)),
            closed=len(everything) - len(cases),
            deeds=tuple(
                d for d in audit.notes_on(connection, patient) if not d[2].startswith("viewed")
            )[-12:],
            arrival=arrival(chart.rules, surgery),
        )


def _thread(connection: Connection, patient: int) -> list[ThreadLine]:
    out = [views.line_of(m) for m in outbox.messages_of(connection, patient)]
    both = [*inbox.inbound_lines(connection, patient), *out]
    return sorted(both, key=lambda line: (line.at, line.who == views.BOT))


def countdown_of(
    connection: Connection, practice: Practice, chart: Chart, now: datetime
) -> tuple[Planned, ...]:
    """The dated countdown, each message with what became of it."""
    rows = person.countdown_of(connection, chart.patient.id)
    return tuple(Planned(row, _title(practice, row), _mark(chart, row, now)) for row in rows)


def _title(practice: Practice, dated: Dated) -> str:
    flows = practice.book.flows
    names = [
        (flows[f].title if f in flows else f) + (f" ({a})" if a else "") for f, a in dated.flows
    ]
    return "; ".join(dict.fromkeys(names))


def _mark(chart: Chart, dated: Dated, now: datetime) -> Mark:
    """What became of one message: of several items the first that is not settled counts."""
    marks = [
        mark(chart.items.get(item), [Asking(item, dated.state, dated.due, dated.closes)], now)
        for item in dated.items
    ]
    if marks:
        return next((m for m in marks if m.sign is Sign.LATE), marks[0])
    told = {"sent": Mark(Sign.DONE, "Told", dated.changed_at)}
    to_come = Mark(Sign.WAITING, "Comes", dated.due)
    missed = Mark(Sign.LATE, "Could not be said in time", dated.due)
    return told.get(dated.state) or {"planned": to_come, "missed": missed}.get(
        dated.state, Mark(Sign.NOT_NEEDED, "Not sent")
    )
