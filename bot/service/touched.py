"""Whom a change of content would touch: every patient's messages to come, under both versions."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from bot.core.differences import MessageDifference, message_differences
from bot.core.plan import make_countdown
from bot.core.preview import Outlook, Preview, preview
from bot.core.versions import under_way
from bot.service.chart import Chart, candidate, load_chart
from bot.service.practice import Practice
from bot.store import patients, plans
from bot.store.engine import reading


@dataclass(frozen=True, slots=True)
class Touched:
    """One patient whose messages would change."""

    patient: int
    reference: str
    name: str
    messages: tuple[MessageDifference, ...]
    ends_on_old: tuple[str, ...]  # conversations under way that keep their version
    later: tuple[str, ...] = ()  # conversations that begin as before and go on otherwise


def touched(live: Practice, draft: Practice, now: datetime) -> Iterator[Touched]:
    """Every patient with a surgery planned for whom something would differ from `now` on."""
    changed = frozenset(_changed(live, draft))
    at_any_time = (
        changed - _planned(live) - _planned(draft)
    )  # an alarm, a wish, another's next step
    with reading(live.engine) as connection:
        for patient in patients.all_patients(connection):
            before = load_chart(connection, live, patient)
            if before.operation.status != "planned":
                continue
            after = load_chart(connection, draft, patient)
            sent = plans.sent_of(connection, before.operation)
            was, will = _to_come(before, live, now, sent), _to_come(after, draft, now, sent)
            messages, kept = message_differences(was, will), tuple(_kept(before, live, draft))
            later = (changed & _flows(will) | at_any_time) - _told(messages)
            if messages or kept or later:
                record = before.patient
                named = (patient, record.reference, record.name)
                yield Touched(*named, messages, kept, tuple(sorted(later)))


def _changed(live: Practice, draft: Practice) -> Iterator[str]:
    """The conversations that say or do anything else, be it only after some answer."""
    for name in {*live.book.flows, *draft.book.flows}:
        old, new = live.book.flows.get(name), draft.book.flows.get(name)
        if old is None or new is None or replace(old, revision="") != replace(new, revision=""):
            yield name


def _planned(practice: Practice) -> frozenset[str]:
    """The conversations that a countdown opens at its times."""
    return frozenset(p.flow for way in practice.protocols.values() for p in way.prompts)


def _flows(shown: Iterable[Preview]) -> frozenset[str]:
    return frozenset(part.flow for one in shown for part in one.message.parts)


def _told(messages: Iterable[MessageDifference]) -> frozenset[str]:
    """The conversations of messages that are listed as changed already."""
    return _flows(shown for one in messages for shown in (one.first, one.second) if shown)


def _to_come(
    chart: Chart, practice: Practice, now: datetime, sent: Sequence[tuple[str, datetime]]
) -> list[Preview]:
    person = candidate(chart, practice)
    surgery = chart.operation.surgery
    countdown = make_countdown(chart.protocol, chart.rules, person, surgery, now, sent)
    language, first_name = chart.conversation.language, chart.patient.first_name
    outlook = Outlook(practice.book, chart.rules, person, surgery, language, first_name)
    return [shown for shown in preview(countdown, outlook) if shown.message.due > now]


def _kept(chart: Chart, live: Practice, draft: Practice) -> Iterator[str]:
    for question in under_way(chart.conversation):
        there, new = live.book.flows.get(question.flow), draft.book.flows.get(question.flow)
        if there is not None and (new is None or new.revision != there.revision):
            yield question.flow
