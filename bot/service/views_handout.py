"""The page that a patient takes home, in their language: dates, numbers to call, medicines."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.core.flow import FlowBook
from bot.core.handout import HANDOUT, handout_words
from bot.core.readiness import Sign
from bot.core.values import dated, long_date
from bot.core.wording import topic
from bot.service.chart import Chart, load_chart, values
from bot.service.practice import Practice
from bot.service.views_patient import Planned, countdown_of
from bot.store.engine import reading

Day = tuple[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Hold:
    """One medicine to stop: its name, the sentence after it, the prescriber's own words."""

    medicine: str
    sentence: str
    instruction: str


@dataclass(frozen=True, slots=True)
class Handout:
    """Everything that stands on the page, in `language`. `written`: the content has its words."""

    chart: Chart
    language: str
    written: bool
    say: Mapping[str, str]
    on: str
    days: tuple[Day, ...]
    holds: tuple[Hold, ...]


def handout(
    practice: Practice, patient: int, now: datetime, hours: int, language: str = ""
) -> Handout:
    """The page for one patient, in another of the languages that there are when one is given.

    `hours` is how long a link into the chat works.
    """
    book = practice.book
    with reading(practice.engine) as connection:
        chart = load_chart(connection, practice, patient)
        planned = countdown_of(connection, practice, chart, now)
    speaks = language if language in book.languages else chart.conversation.language
    own = {**values(chart, speaks, now), "hours": str(hours)}
    return Handout(
        chart=chart,
        language=speaks,
        written=HANDOUT in book.flows,
        say=handout_words(book, own, speaks),
        on=dated(chart.operation.surgery.on, speaks),
        days=_by_day(book, planned, chart.operation.surgery.zone, speaks),
        holds=tuple(_holds(book, chart, own, speaks)),
    )


def _by_day(
    book: FlowBook, planned: Iterable[Planned], zone: str, language: str
) -> tuple[Day, ...]:
    """What the patient is written to about on each day of the hospital's calendar."""
    days: dict[str, list[str]] = {}
    for one in planned:
        if one.dated.to == "patient" and one.mark.sign is not Sign.NOT_NEEDED:
            on = one.dated.due.astimezone(ZoneInfo(zone)).date()
            days.setdefault(long_date(on, language), []).extend(_topics(book, one, language))
    return tuple((on, tuple(dict.fromkeys(about))) for on, about in days.items())


def _topics(book: FlowBook, planned: Planned, language: str) -> Iterable[str]:
    for name, about in planned.dated.flows:
        title = book.flows[name].title if name in book.flows else name
        said = topic(book, {"flow": name, "topic": title}, language)
        yield f"{said} ({about})" if about else said


def _holds(book: FlowBook, chart: Chart, own: Mapping[str, str], language: str) -> Iterable[Hold]:
    for hold in chart.holds:
        last = long_date(hold.last_dose_on, language)
        told = {**own, "last_dose": last, "prescriber": hold.prescriber}
        sentence = handout_words(book, told, language)["hold"]
        yield Hold(hold.medicine, sentence, hold.instruction)
