"""The people of a shared phone at this moment, and what one text would mean from each of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from bot.core.conversation import OpenQuestion
from bot.core.dialogue_alarms import SYMPTOM_FLOW, Alarm, find_alarm
from bot.core.dialogue_draft import is_alarm_flow
from bot.core.dialogue_replies import ALARM_KEYS, expected_key, labelled_key
from bot.core.facts import derive_facts
from bot.core.record import Party
from bot.core.sharing import Owner, Person, Says, decide
from bot.reading.reading import Act, Asked, Reading, Symptom
from bot.service.chart import candidate, load_chart
from bot.service.desk import Desk
from bot.service.hearing import asked_of, sounds_like_alarm
from bot.service.joining import answers_invitation, has_joined
from bot.service.practice import Practice
from bot.store import inbox, outbox

_HEALTH = (Asked.SYMPTOM_CHECK, Asked.TEMPERATURE)
_STOPS = (Act.OPT_OUT, Act.WRONG_NUMBER)
_VAGUE = Alarm((Symptom.UNWELL.value,), SYMPTOM_FLOW)
_ALERT = Alarm(("alert",), None)


@dataclass(frozen=True, slots=True)
class Listener:
    """One person of the phone, with the text read as theirs."""

    desk: Desk
    party: Party
    owner: Owner
    text: str
    asked: Asked  # what the text was read in the light of
    reading: Reading
    words: Alarm | None  # what the words themselves raise
    choice: Alarm | None  # what they raise as the answer to the question open to this person

    @property
    def alarm(self) -> Alarm | None:
        """The alarm, if this person wrote it."""
        return self.words or self.choice

    @property
    def stops(self) -> bool:
        """True when the text ends the messages."""
        return any(self.reading.says(act) for act in _STOPS)


def listeners(
    practice: Practice, connection: Connection, people: Sequence[Person], text: str, now: datetime
) -> list[Listener]:
    """Everyone behind the phone, each with the question open to them and the text read by it."""
    patients_here = {p.party.patient for p in people if p.party.coach is None}
    found = []
    for person in people:
        chart = load_chart(connection, practice, person.party.patient)
        desk = Desk(connection, practice, chart, now, writer=person.party)
        found.append(_listener(desk, person.party, patients_here, text))
    return found


def _listener(desk: Desk, party: Party, patients_here: set[int], text: str) -> Listener:
    asked = asked_of(desk, party.role)
    reading = desk.practice.read(text, asked, desk.chart.conversation.language)
    question = _open_to(desk, party, patients_here)
    key = _key(desk, question, reading, text)
    words = None if _is_calm_label(desk, question, text) else _alarm(desk, reading)
    choice = _VAGUE if key in ALARM_KEYS else None
    if question is None and (invited := _invited_at(desk, party)) is not None:
        owner = Owner(party, invited, answers=answers_invitation(reading), active=True)
    else:
        asked_at = _asked_at(question, party)
        health = _asks_health(desk, question)
        talking = asked_at is not None and asked_at == _last_heard(desk, party)
        owner = Owner(party, asked_at, health, key is not None, _active(desk, party), talking)
    return Listener(desk, party, owner, text, asked, reading, words, choice)


def what_it_says(found: Sequence[Listener]) -> Says:
    """What a text is: by its words, whoever wrote it; by the open questions where these differ.

    Doubt goes to the graver side. Only when the text clearly answers one person's question does
    that person's reading alone count.
    """
    sole = decide([each.owner for each in found], Says.OTHER).heard
    clear = next((each for each in found if sole == (each.party,)), None)
    if any(each.stops for each in found) and (clear is None or clear.stops):
        return Says.STOP
    if any(each.words for each in found):
        return Says.ALARM
    if clear is None and any(each.choice for each in found):
        return Says.ALARM
    if all(each.reading.act is Act.OPT_IN for each in found):
        return Says.START
    return Says.HELP if all(each.reading.act is Act.HELP for each in found) else Says.OTHER


def _alarm(desk: Desk, reading: Reading) -> Alarm | None:
    known = derive_facts(candidate(desk.chart, desk.practice), desk.chart.operation.surgery)
    alarm = find_alarm(desk.book, reading, desk.chart.rules, known.get("age"))
    return alarm or (_ALERT if sounds_like_alarm(reading) else None)


def _open_to(desk: Desk, party: Party, patients_here: set[int]) -> OpenQuestion | None:
    """A person's own question; a coach's also the one that is put to them for a silent patient,
    unless the patient reads this very phone: then it is the patient's."""
    chat = desk.chart.conversation
    if party.coach is None:
        return chat.open
    if chat.coach is not None and chat.coach.open is not None:
        return chat.coach.open
    put_to_coach = chat.open is not None and chat.open.rung == "coach"
    return chat.open if put_to_coach and party.patient not in patients_here else None


def _asked_at(question: OpenQuestion | None, party: Party) -> datetime | None:
    if question is None:
        return None
    return (question.rung_at if party.coach is not None else None) or question.asked_at


def _invited_at(desk: Desk, party: Party) -> datetime | None:
    """When a coach who has not answered was invited."""
    coach = next((c for c in desk.chart.coaches if c.id == party.coach), None)
    if coach is None or coach.left_at is not None or has_joined(desk):
        return None
    invitation = outbox.by_key(desk.connection, f"invite.{coach.id}")
    return invitation.queued_at if invitation and invitation.state != "held" else None


def _last_heard(desk: Desk, party: Party) -> datetime | None:
    own = party.coach is None
    return inbox.last_heard(desk.connection, party.patient) if own else None


def _active(desk: Desk, party: Party) -> bool:
    coach = next((c for c in desk.chart.coaches if c.id == party.coach), None)
    present = party.coach is None or (coach is not None and coach.active)
    ahead = desk.chart.operation.status in ("planned", "postponed")
    return present and ahead and not party.stopped


def _key(desk: Desk, question: OpenQuestion | None, reading: Reading, text: str) -> str | None:
    flow = desk.book.flows.get(question.flow) if question else None
    state = flow.states.get(question.state) if flow and question else None
    return expected_key(flow, state, reading, text) if flow and state else None


def _asks_health(desk: Desk, question: OpenQuestion | None) -> bool:
    flow = desk.book.flows.get(question.flow) if question else None
    state = flow.states.get(question.state) if flow and question else None
    if flow is None or state is None:
        return False
    return state.asked in _HEALTH or is_alarm_flow(desk.book, flow.name)


def _is_calm_label(desk: Desk, question: OpenQuestion | None, text: str) -> bool:
    """Our own label, word for word, that stands for no symptom: "It is not an emergency"."""
    flow = desk.book.flows.get(question.flow) if question else None
    state = flow.states.get(question.state) if flow and question else None
    key = labelled_key(flow, state, text) if flow and state else None
    return key is not None and key not in ALARM_KEYS
