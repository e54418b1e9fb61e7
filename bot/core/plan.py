"""Makes a patient's dated countdown from protocol, rules, the patient's record and the surgery."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, time
from functools import lru_cache
from types import MappingProxyType

from bot.core.catching_up import spread
from bot.core.countdown import day_offset, elapsed, instant, local_date
from bot.core.facts import derive_facts, wanted
from bot.core.occurrences import Occurrence, hold_values, occurrences
from bot.core.placing import Meant, Place, meant, place
from bot.core.planned import Countdown, NotPlanned, PlannedPrompt
from bot.core.protocol import (
    Anchor,
    Candidate,
    MedicineHold,
    Priority,
    Protocol,
    Rules,
    Surgery,
)
from bot.core.quiet import keep_daily_limit
from bot.core.same import Same

NURSE_TOLD_BY = time(12, 0)  # the day before, when the start is still missing
_Rank = tuple[int, datetime, int]  # priority, time first meant, place in the protocol
NOTHING: Mapping[str, datetime] = MappingProxyType({})
_RANK = {priority: rank for rank, priority in enumerate(Priority)}


def make_countdown(
    protocol: Protocol,
    rules: Rules,
    candidate: Candidate,
    surgery: Surgery,
    now: datetime,
    sent: Sequence[tuple[str, datetime]] = (),
    put_off: Mapping[str, datetime] = NOTHING,
) -> Countdown:
    """Plan every prompt of `protocol` for this patient, none before enrolment or before `now`.

    Candidate facts should already hold the defaults of the content. `sent` are (recipient, instant)
    of messages that already went out; they count towards the daily limit. `put_off` are the times
    that an earlier plan gave what it spread over later days, by the key of the part.
    """
    here = Place(rules, surgery, candidate.dawn_agreed)
    horizon = elapsed(max(now, candidate.enrolled_at), 0)
    past_holds, current = _split_past_holds(_wished(protocol, here, candidate), here, horizon)
    outcomes = [
        (it.occurrence, place(it, here, horizon, put_off.get(it.occurrence.key))) for it in current
    ]
    rest = [outcome for _, outcome in outcomes if isinstance(outcome, NotPlanned)]
    return Countdown(
        prompts=_within_limit(outcomes, here, sent),
        waiting=_because(rest, "start_unknown"),
        missed=(*past_holds, *_because(rest, "too_late", "quiet_hours")),
        skipped=_because(rest, "not_needed"),
        nurse_due=_nurse_due(here, horizon),
    )


def facts_read(protocol: Protocol) -> frozenset[str]:
    """Every fact that planning looks at; learning any other changes no plan."""
    return _facts_read(Same(protocol))


@lru_cache(maxsize=64)
def _facts_read(same: Same[Protocol]) -> frozenset[str]:
    prompts = same.it.prompts
    tests = (test.fact for prompt in prompts for test in prompt.only_if + prompt.not_if)
    return frozenset(tests) | {"age", "birth_date"}


def lines_for(protocol: Protocol, candidate: Candidate, surgery: Surgery) -> tuple[bool, ...]:
    """Of each line of the protocol, whether its conditions hold: all that facts do to a plan."""
    facts = derive_facts(candidate, surgery)
    return tuple(
        not (p.only_if or p.not_if) or wanted(p.only_if, p.not_if, facts) for p in protocol.prompts
    )


def _wished(protocol: Protocol, here: Place, candidate: Candidate) -> list[Meant]:
    """Give all occurrences meant for this patient, in protocol order."""
    lines = lines_for(protocol, candidate, here.surgery)
    dated = _dated(
        Same(protocol), Same(here.rules), here.surgery,
        candidate.enrolled_at, candidate.holds, candidate.dawn_agreed,
    )  # fmt: skip
    return [
        it
        for prompt, is_for, days in zip(protocol.prompts, lines, dated, strict=True)
        if is_for and (prompt.to != "coach" or candidate.has_coach)
        for it in days
        if it.item not in candidate.done
    ]


@lru_cache(maxsize=256)
def _dated(
    protocol: Same[Protocol],
    rules: Same[Rules],
    surgery: Surgery,
    enrolled_at: datetime,
    holds: tuple[MedicineHold, ...],
    dawn_agreed: bool,
) -> tuple[tuple[Meant, ...], ...]:
    """Date each line of the protocol for one patient, whatever is known of them beside.

    Kept because a patient's answers, each of which may plan anew, come one upon the other.
    """
    here = Place(rules.it, surgery, dawn_agreed)
    nobody = Candidate(enrolled_at, holds=holds, dawn_agreed=dawn_agreed)
    return tuple(
        tuple(meant(each, here) for each in occurrences(prompt, rules.it, nobody, surgery))
        for prompt in protocol.it.prompts
    )


def _split_past_holds(
    wished: Iterable[Meant], here: Place, horizon: datetime
) -> tuple[list[NotPlanned], list[Meant]]:
    """Take out what can no longer be said about a last dose that is past; the nurse gets a line.

    One line per medicine, whatever the number of prompts about it. Prompts about that medicine that
    are still to come stay planned.
    """
    today = local_date(horizon, here.surgery.zone)
    past: dict[tuple[str, str], NotPlanned] = {}
    current: list[Meant] = []
    for it in wished:
        occurrence = it.occurrence
        hold = occurrence.hold
        if hold is None or hold.last_dose_on >= today or occurrence.due is None:
            current.append(it)
            continue
        prompt = occurrence.prompt
        values = hold_values(hold)
        past.setdefault(
            (hold.medicine, hold.last_dose_on.isoformat()),
            NotPlanned(
                prompt.id, prompt.flow, "medicine_date_past", occurrence.due, values, occurrence.key
            ),
        )
        if occurrence.due >= horizon:
            current.append(it)
    return list(past.values()), current


def _within_limit(
    outcomes: Sequence[tuple[Occurrence, PlannedPrompt | NotPlanned]],
    here: Place,
    sent: Sequence[tuple[str, datetime]],
) -> tuple[PlannedPrompt, ...]:
    """Put messages in the order of sending, spread what is late, and merge to the daily limit.

    Order: time, then priority, then the time first meant, then the protocol.
    """
    ranks: dict[str, _Rank] = {}
    messages = list(_ranked(outcomes, ranks))
    at_once = {o.key for o, _ in outcomes if o.prompt.when.anchor is Anchor.ENROLMENT}

    def in_order(some: Iterable[PlannedPrompt]) -> list[PlannedPrompt]:
        return sorted(some, key=lambda message: (message.due, ranks[message.key]))

    spread_out = in_order(spread(in_order(messages), at_once, here))
    limit, zone = here.rules.daily_limit, here.surgery.zone
    return tuple(in_order(keep_daily_limit(spread_out, zone, limit, sent)))


def _ranked(
    outcomes: Iterable[tuple[Occurrence, PlannedPrompt | NotPlanned]], ranks: dict[str, _Rank]
) -> Iterator[PlannedPrompt]:
    for place_in_protocol, (occurrence, outcome) in enumerate(outcomes):
        if isinstance(outcome, NotPlanned):
            continue
        first_meant = occurrence.due or outcome.due
        ranks[outcome.key] = (_RANK[outcome.priority], first_meant, place_in_protocol)
        yield outcome


def _because(rest: Iterable[NotPlanned], *reasons: str) -> tuple[NotPlanned, ...]:
    return tuple(outcome for outcome in rest if outcome.reason in reasons)


def _nurse_due(here: Place, horizon: datetime) -> datetime | None:
    """Give by when the nurse is told that the start is missing: noon the day before, or at once."""
    if here.surgery.starts_at is not None:
        return None
    noon = instant(day_offset(here.surgery.on, -1), NURSE_TOLD_BY, here.surgery.zone)
    return max(noon, horizon)
