"""Turns effects into rows: the one place that says what each kind of effect does to the record."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bot.core.changed import replace
from bot.core.consent import AGREED
from bot.core.conversation import (
    Copy,
    Effect,
    Escalate,
    LearnFact,
    Record,
    Say,
    SetLanguage,
    SetStopped,
)
from bot.core.copies import CopyLevel
from bot.core.dialogue_draft import fact_value
from bot.core.plan import facts_read
from bot.core.wording import say_text
from bot.service.cases import raise_cases
from bot.service.chart import DONE, values
from bot.service.desk import Desk
from bot.service.inviting import invite_named
from bot.store import coaches, items, outbox, patients
from bot.store.consents import Consent, note_consent

_LEVELS = {"trouble": CopyLevel.TROUBLE_ONLY}  # older content says `trouble`
_CONSENTS = {AGREED: "messages", "dawn_agreed": "dawn", "coach_sees": "coach_copies"}


@dataclass(slots=True)
class Outcome:
    """What the effects of one turn touched beyond their own rows."""

    plan_anew: bool = False
    stopped: bool = False  # the messages were stopped, or taken up again
    case: int | None = None  # the escalation that the patient is being told about


def apply_effects(desk: Desk, effects: Iterable[Effect]) -> Outcome:
    """Store every effect except the messages, which `mail.post` queues afterwards."""
    effects = tuple(effects)
    outcome = Outcome()
    further: list[Escalate] = []
    for effect in effects:
        match effect:
            case Say() | Copy() | Escalate():
                pass
            case Record():
                _record(desk, effect)
            case LearnFact():
                further += _learn(desk, effect)
            case SetStopped():
                outcome.stopped = True
                _set_stopped(desk, effect)
            case SetLanguage():
                _set_language(desk, effect)
        outcome.plan_anew |= _moves_plan(desk, effect)
    outcome.case = _escalate(desk, (*effects, *further))
    return outcome


def _moves_plan(desk: Desk, effect: Effect) -> bool:
    """True when the countdown may come out differently afterwards."""
    match effect:
        case SetStopped():
            return True
        case LearnFact(fact=fact, value=value):
            known, told = desk.chart.facts.get(fact), fact_value(value)
            if fact != "coach_sees" and (type(known), known) == (type(told), told):
                return False  # they said it before
            return fact in _CONSENTS or fact in facts_read(desk.chart.protocol)
        case Record(item=item, value=value):
            return value not in DONE and item in desk.chart.done
        case _:
            return False


def _escalate(desk: Desk, effects: tuple[Effect, ...]) -> int | None:
    """Open or join the cases of this turn; its messages count as telling the patient of the first.

    What the turn learned says better than a bare "1" what the patient answered.
    """
    learned = {e.fact: e.value for e in effects if isinstance(e, LearnFact)}
    raised = [_explained(desk, e, learned) for e in effects if isinstance(e, Escalate)]
    if any(effect.reason == "wrong_number" for effect in raised):
        _close_address(desk, wrong=True)
    cases = raise_cases(desk, raised)
    return cases[0].id if cases else None


def _explained(desk: Desk, effect: Escalate, learned: Mapping[str, str]) -> Escalate:
    answers = {name: learned.get(name, value) for name, value in effect.answers.items()}
    asked = desk.chart.conversation.open
    flow = desk.practice.book.flows.get(asked.flow) if asked else None
    if desk.heard is None or asked is None or flow is None or not effect.words:
        return replace(effect, answers=answers)
    words, state = effect.words, flow.states.get(asked.state)
    place = words.strip()
    if state is not None and place.isdecimal() and 1 <= int(place) <= len(state.choices):
        labels = flow.labels.get(state.choices[int(place) - 1], {})
        words = labels.get(desk.chart.conversation.language, words)
    return replace(effect, words=words, answers={**answers, "asked": flow.title})


def _record(desk: Desk, effect: Record) -> None:
    by = desk.staff or effect.by
    items.record_item(
        desk.connection, desk.chart.operation, effect.item, effect.value, by, desk.now
    )


def _learn(desk: Desk, effect: LearnFact) -> tuple[Escalate, ...]:
    """Keep the fact. A few facts are consent, or govern what a coach sees.

    Returns what a nurse must do because of it: invite the coach whom this program cannot.
    """
    source = desk.staff or (desk.heard.by if desk.heard else "patient")
    value = fact_value(effect.value)
    patients.learn_fact(desk.connection, desk.patient, effect.fact, value, source, desk.now)
    if effect.fact == "dawn_agreed":
        patients.set_dawn_agreed(desk.connection, desk.patient, value is True)
    if effect.fact == "coach_sees":
        level = _LEVELS.get(effect.value) or CopyLevel(effect.value)
        coaches.set_level(desk.connection, desk.patient, level)
    if effect.fact == AGREED and value is True:
        outbox.let_go(desk.connection, desk.patient, "coach", desk.now)  # the invitation waited
    if effect.fact in _CONSENTS and desk.writer is not None:
        _note_consent(desk, effect)
    if effect.fact == "coach_sees":
        return invite_named(desk, patients.facts_of(desk.connection, desk.patient), level)
    return ()


def _note_consent(desk: Desk, effect: LearnFact) -> None:
    """Store what was agreed to, with the question as it was put."""
    language = desk.chart.conversation.language
    given = fact_value(effect.value) is not False
    consent = Consent(_CONSENTS[effect.fact], given, _question(desk, language), language, desk.now)
    if desk.writer is not None:
        note_consent(desk.connection, desk.writer, consent)


def _question(desk: Desk, language: str) -> str:
    asked, book = desk.chart.conversation.open, desk.practice.book
    flow = book.flows.get(asked.flow) if asked else None
    state = flow.states.get(asked.state) if flow and asked else None
    if asked is None or flow is None or state is None or state.say is None:
        return ""
    put = Say("patient", flow.name, state.say, asked.values)
    return say_text(book, put, values(desk.chart, language, desk.now), language)


def _set_stopped(desk: Desk, effect: SetStopped) -> None:
    """Opting out counts at once and in full: what is queued is withdrawn in this transaction."""
    if effect.who == "coach":
        _set_coach_stopped(desk, stopped=effect.stopped)
        return
    if effect.stopped:
        outbox.withdraw(desk.connection, desk.patient, ("patient", "coach"), "stopped", desk.now)
        _close_address(desk, wrong=False)
    else:
        party = desk.writer or patients.address_of(desk.connection, desk.patient)
        if party is not None:
            patients.reopen_address(desk.connection, party)
    _note_opt(desk, given=not effect.stopped)


def _set_coach_stopped(desk: Desk, *, stopped: bool) -> None:
    for coach in desk.chart.coaches:
        if desk.writer is None or desk.writer.coach != coach.id:
            continue
        if stopped:
            coaches.leave(desk.connection, coach.id, desk.now)
            _close_address(desk, wrong=False)
        else:
            coaches.join(desk.connection, coach.id, desk.now)
            patients.reopen_address(desk.connection, desk.writer)
    _note_opt(desk, given=not stopped)


def _note_opt(desk: Desk, *, given: bool) -> None:
    words = desk.heard.text if desk.heard else desk.staff
    if desk.writer is not None:
        language = desk.chart.conversation.language
        consent = Consent("messages", given, f"their words: {words}", language, desk.now)
        note_consent(desk.connection, desk.writer, consent)


def _close_address(desk: Desk, *, wrong: bool) -> None:
    party = desk.writer or patients.address_of(desk.connection, desk.patient)
    if party is not None:
        patients.stop_address(desk.connection, party, desk.now, wrong=wrong)


def _set_language(desk: Desk, effect: SetLanguage) -> None:
    """The patient's language is in the conversation; a coach's is in their own row."""
    if desk.writer is not None and desk.writer.coach is not None:
        coaches.set_language(desk.connection, desk.writer.coach, effect.language)
