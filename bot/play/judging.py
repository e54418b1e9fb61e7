"""Compares what a played story left behind with what its file expects."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from bot.core.escalation import Case, Step
from bot.play.phones import Slip
from bot.play.player import Player
from bot.play.scenario import Expect, Scenario
from bot.service import views
from bot.service.practice import Practice


def faults_of(player: Player, now: datetime) -> list[str]:
    """Every expectation that was not met, in words; none means that the story went as written."""
    story, practice, patient = player.story, player.practice, player.patient
    want, chart = story.expect, views.chart(practice, patient)
    cases = [seen.case for seen in views.worklist(practice, now, patient=patient, closed=True)]
    return [
        *_items(want, practice, patient),
        *_cases(want, cases),
        *_second(want, player, now),
        *_logs(want, practice, patient, cases, now),
        *_heard(story, player.phones.slips),
        *_differs("stopped", chart.conversation.stopped, want.stopped),
        *_differs("paused", chart.conversation.paused, want.paused),
        *(_differs("day", chart.operation.surgery.on, want.surgery_on) if want.surgery_on else ()),
    ]


def _differs(what: str, found: object, wanted: object) -> Iterator[str]:
    if found != wanted:
        yield f"{what}: {found!r}, expected {wanted!r}"


def _items(want: Expect, practice: Practice, patient: int) -> Iterator[str]:
    items = views.items(practice, patient)
    for name, value in want.items.items():
        yield from _differs(f"item {name}", items[name].value if name in items else None, value)
    for name, who in want.items_by.items():
        yield from _differs(f"item {name} by", items[name].by if name in items else None, who)


def _cases(want: Expect, cases: Sequence[Case]) -> Iterator[str]:
    opened = tuple(case.reasons[0] for case in cases)
    yield from _differs("escalations", opened, want.escalations)
    decided = tuple(str(c.disposition) for c in cases if c.disposition is not None)
    yield from _differs("dispositions", decided, want.dispositions)
    still_open = [case.reasons[0] for case in cases if not case.closed]
    if len(still_open) != want.open_escalations:
        yield f"open escalations: {still_open}, expected {want.open_escalations}"


def _second(want: Expect, player: Player, now: datetime) -> Iterator[str]:
    if player.second is not None:
        seen = views.worklist(player.practice, now, patient=player.second, closed=True)
        opened = tuple(each.case.reasons[0] for each in seen)
        yield from _differs("second escalations", opened, want.second_escalations)


def _logs(
    want: Expect, practice: Practice, patient: int, cases: Sequence[Case], now: datetime
) -> Iterator[str]:
    if want.steps:
        steps = [str(entry.step) for entry in cases[0].entries] if cases else []
        yield from _in_order("step", want.steps, steps)
    if want.told_in_turn:
        told = [e.who for e in cases[0].entries if e.step is Step.NURSE_NOTIFIED] if cases else []
        yield from _in_order("told", want.told_in_turn, told)
    everything = "\n".join(
        seen.sbar for seen in views.worklist(practice, now, patient=patient, closed=True)
    ) + "\n".join(f"{e.words} {e.note} {dict(e.detail)}" for c in cases for e in c.entries)
    for text in want.reaches:
        if text.casefold() not in everything.casefold():
            yield f"no case holds {text!r}"


def _heard(story: Scenario, slips: Iterable[Slip]) -> Iterator[str]:
    want, got = story.expect, [slip for slip in slips if not slip.written]
    patients = [slip for slip in got if slip.address == story.patient.phone]
    coach = story.coach.phone if story.coach else ""
    coachs = [slip for slip in got if slip.address == coach]
    yield from _in_order("the patient hears", want.patient_hears, [s.text for s in patients])
    yield from _in_order("the coach hears", want.coach_hears, [s.text for s in coachs])
    yield from _never("patient", want.patient_never_hears, patients)
    yield from _never("coach", want.coach_never_hears, coachs)
    yield from _quiet(story, "patient", want.patient_hears_nothing_after, patients)
    yield from _quiet(story, "coach", want.coach_hears_nothing_after, coachs)


def _in_order(what: str, wanted: Sequence[str], found: Sequence[str]) -> Iterator[str]:
    """Each wanted text stands in a later one (or the same) than the one before it."""
    at = 0
    for text in wanted:
        place = next(
            (n for n in range(at, len(found)) if text.casefold() in found[n].casefold()), None
        )
        if place is None:
            yield f"{what}: {text!r} is not there (after {at} of {len(found)})"
        else:
            at = place


def _never(who: str, texts: Sequence[str], slips: Sequence[Slip]) -> Iterator[str]:
    for text in texts:
        for slip in slips:
            if text.casefold() in slip.text.casefold():
                yield f"the {who} hears {text!r}: {slip.text[:80]!r}"


def _quiet(
    story: Scenario, who: str, after: datetime | None, slips: Sequence[Slip]
) -> Iterator[str]:
    if after is not None:
        late = [s.text[:60] for s in slips if s.when > story.instant(after)]
        if late:
            yield f"the {who} hears something after {after}: {late[0]!r}"
