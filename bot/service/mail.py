"""Puts the messages of one turn into the outbox: one message to each recipient."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from bot.core.conversation import Copy, Effect, Say, SetStopped
from bot.core.copies import CopyLevel, copy_line, may_ask_coach
from bot.core.dialogue_draft import COACH_COPY
from bot.core.quiet import is_quiet
from bot.core.record import CoachRecord, Message, Party
from bot.core.values import part_values
from bot.core.wording import choice_labels, say_text, topic
from bot.service.addressing import headed
from bot.service.chart import values
from bot.service.desk import Desk
from bot.store import outbox, patients

STALE_AFTER = timedelta(hours=24)  # an answer later than this answers nothing (our choice)


@dataclass(slots=True)
class Letter:
    """What one recipient is told in this turn."""

    to: Party
    name: str
    language: str
    texts: list[str] = field(default_factory=list)
    choices: tuple[str, ...] = ()
    prompt: str | None = None


Letters = dict[tuple[str, str, int | None], Letter]  # two people may share an address


def post(desk: Desk, effects: Iterable[Effect], version: int, case: int | None = None) -> None:
    """Queue the turn's Say and Copy effects, joined into one message for each recipient.

    The business key holds the conversation's version, which no two turns share.
    """
    letters: Letters = {}
    known: dict[str, dict[str, str]] = {}  # language -> what texts may fill in
    for effect in _still_agreed(desk, tuple(effects)):
        for letter, say in _addressed(desk, effect, letters):
            letter.texts.append(_text(desk, say, letter.language, known))
            if say.choices:
                letter.choices = choice_labels(desk.practice.book, say, letter.language)
            letter.prompt = letter.prompt or say.prompt
    for letter in letters.values():
        if not _is_told(desk, letter.to):
            _queue(desk, _message(desk, letter, version, case))


def _queue(desk: Desk, message: Message) -> None:
    if desk.later is not None:
        desk.later.messages.append(message)
    else:
        outbox.queue(desk.connection, message)


def _is_told(desk: Desk, to: Party) -> bool:
    """True when the phone gets its one answer, meant for all who use it, from another letter."""
    writer = desk.writer
    if not desk.for_all or writer is None:
        return False
    if (writer.channel, writer.address) != (to.channel, to.address):
        return False
    return desk.answered or (writer.patient, writer.coach) != (to.patient, to.coach)


def _still_agreed(desk: Desk, effects: tuple[Effect, ...]) -> tuple[Effect, ...]:
    """Without the copies that may not go now.

    A patient who stopped shares nothing more: none after the turn of the stop itself. In quiet
    hours no coach is woken for good news: only trouble is copied then.
    """
    stops_now = any(isinstance(e, SetStopped) and e.stopped for e in effects)
    shares = stops_now or not desk.chart.conversation.stopped
    night = is_quiet(desk.now, desk.chart.operation.surgery.zone, desk.chart.rules)
    return tuple(effect for effect in effects if _may_go(effect, shares=shares, night=night))


def _may_go(effect: Effect, *, shares: bool, night: bool) -> bool:
    match effect:
        case Copy():
            return shares and (effect.trouble or not night)
        case Say(to="coach", flow="coach_copy"):  # a change that staff made
            return shares
        case _:
            return True


def _text(desk: Desk, say: Say, language: str, known: dict[str, dict[str, str]]) -> str:
    if language not in known:
        known[language] = values(desk.chart, language, desk.now)
    return say_text(
        desk.practice.book, say, known[language], language, part_values(say.values, language)
    )


def _message(desk: Desk, letter: Letter, version: int, case: int | None) -> Message:
    role = letter.to.role
    whose = role if letter.to.coach is None else f"coach{letter.to.coach}"
    return Message(
        key=f"turn.{desk.patient}.{version}.{whose}",
        patient=desk.patient,
        to_role=role,
        name=letter.name,
        channel=letter.to.channel,
        address=letter.to.address,
        text=headed(desk, letter.to, "\n\n".join(letter.texts), letter.language),
        choices=letter.choices,
        queued_at=desk.now,
        prompt_key=letter.prompt or desk.prompt,
        escalation=case,
        not_after=_not_after(desk),
    )


def _not_after(desk: Desk) -> datetime:
    return desk.closes or desk.now + STALE_AFTER


def _addressed(desk: Desk, effect: Effect, letters: Letters) -> Iterator[tuple[Letter, Say]]:
    match effect:
        case Say(to="patient"):
            party = _patient_address(desk)
            if party is not None:
                yield _letter(letters, party, desk.chart.patient.name, _language(desk)), effect
        case Say():
            for coach in _hearing_coaches(desk, effect):
                yield _coach_letter(letters, coach), effect
        case Copy():
            for coach in desk.chart.active_coaches:
                line = copy_line(effect, coach.level)
                if line is not None and not _wrote(desk, coach):
                    yield _coach_letter(letters, coach), _copied(desk, effect, line, coach)


def _patient_address(desk: Desk) -> Party | None:
    """The patient's address; one that was stopped gets only the answer to its own message."""
    writer = desk.writer
    if writer is not None and writer.coach is None:
        return writer
    if desk.reach is not None:
        party: Party | None = desk.reach.party
    else:
        party = patients.address_of(desk.connection, desk.patient)
    return None if party is None or party.stopped else party


def _hearing_coaches(desk: Desk, say: Say) -> Iterator[CoachRecord]:
    """The coach who wrote; else every active one, who may be asked about health if consented."""
    for coach in desk.chart.coaches:
        if desk.writer is not None and desk.writer.coach is not None:
            if _wrote(desk, coach):
                yield coach
        elif coach.active and (not say.health or may_ask_coach(coach.level, health=True)):
            yield coach


def _wrote(desk: Desk, coach: CoachRecord) -> bool:
    return desk.writer is not None and desk.writer.coach == coach.id


def _copied(desk: Desk, copy: Copy, line: str, coach: CoachRecord) -> Say:
    """The copy in the coach's language; the patient's words only where everything may be seen."""
    told = {"words": desk.heard.text} if desk.heard else {}
    own = {k: v for k, v in copy.values.items() if k not in ("words", "reason")}
    if coach.level is CopyLevel.EVERYTHING:
        own = {**told, **copy.values}
    what = topic(desk.practice.book, copy.values, coach.language) or copy.values.get("what", "")
    return Say("coach", COACH_COPY, line, {**own, "what": what})


def _letter(letters: Letters, party: Party, name: str, language: str) -> Letter:
    key = (party.channel, party.address, party.coach)
    return letters.setdefault(key, Letter(party, name, language))


def _coach_letter(letters: Letters, coach: CoachRecord) -> Letter:
    party = Party(coach.patient, coach.channel, coach.address, coach.id)
    return _letter(letters, party, coach.name, coach.language)


def _language(desk: Desk) -> str:
    return desk.chart.conversation.language
