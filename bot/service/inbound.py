"""One incoming message, start to finish, in one transaction."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.conversation import Escalate, Heard, OpenQuestion, Say, TimeUp
from bot.core.dialogue_draft import SYSTEM
from bot.core.record import Message, Party
from bot.core.wording import filled
from bot.reading.reading import Act, Asked, Reading
from bot.service import joining, linking
from bot.service.chart import Chart, load_chart, values
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.turns import take_turn
from bot.store import inbox, outbox, patients
from bot.store.engine import apart, writing

_ALARMS = (Act.SYMPTOM, Act.EMERGENCY, Act.SELF_HARM, Act.EXPOSURE)


def handle(practice: Practice, incoming: Incoming, now: datetime) -> int | None:
    """Take in one message; return the patient's id, or None for a repeat or a stranger.

    1. Find whose address it is, and lock the patient; 2. insert it into the inbox (the provider's
    id is unique: a repeat stops here); 3. a link that opens the chat is answered apart, and a
    stranger gets one neutral answer; 4. read it in the light of the open question and keep the
    reading; 5. step, store state, effects and messages; 6. commit. Only then may the caller
    acknowledge it to the provider.
    """
    with writing(practice.engine) as connection:
        return _take_in(practice, connection, incoming, now)


def handle_all(
    practice: Practice, incoming: Sequence[Incoming], now: datetime
) -> list[Exception | None]:
    """Take in messages that arrived together; say for each what failed, if anything.

    On SQLite they share one commit, in which one that fails is undone alone; when the commit
    itself fails that is raised, and nothing of them was kept. On PostgreSQL each has its own: two
    workers that each held several patients could wait for one another.
    """
    if len(incoming) == 1 or practice.engine.dialect.name != "sqlite":
        return [_failure(partial(handle, practice, each, now)) for each in incoming]
    with writing(practice.engine) as connection:
        return [_failure(partial(_apart, practice, connection, each, now)) for each in incoming]


def _failure(deed: Callable[[], object]) -> Exception | None:
    try:
        deed()
    except Exception as error:  # whoever handed this one in is told; the others go on
        return error
    return None


def _apart(practice: Practice, connection: Connection, incoming: Incoming, now: datetime) -> None:
    with apart(connection):
        _take_in(practice, connection, incoming, now)


def _take_in(
    practice: Practice, connection: Connection, incoming: Incoming, now: datetime
) -> int | None:
    party = patients.find_party(connection, incoming.channel, incoming.address)
    caller = linking.caller_of(connection, incoming, party, now)
    patient = caller.patient if caller else (party.patient if party else None)
    if patient is not None:
        patients.lock(connection, patient)
    inbound = inbox.put_inbound(connection, _row(incoming, patient, _role(caller, party), now))
    if inbound is None:
        return None
    if caller is not None:
        linking.hear(practice, connection, caller, incoming, inbound, now)
    elif party is None:
        _answer_stranger(practice, connection, incoming, now)
    else:
        chart = load_chart(connection, practice, party.patient)
        desk = Desk(connection, practice, chart, now, writer=party)
        _hear(desk, party, incoming, inbound)
    return patient


def _role(caller: linking.Caller | None, party: Party | None) -> str:
    if caller is not None and caller.known is None and caller.patient is not None:
        return linking.UNCONFIRMED
    return party.role if party else "unknown"


def _row(incoming: Incoming, patient: int | None, role: str, now: datetime) -> dict[str, object]:
    return {
        "channel": incoming.channel,
        "provider_message_id": incoming.message_id,
        "address": incoming.address,
        "patient_id": patient,
        "by_role": incoming.by or role,
        "text": incoming.text,
        "received_at": incoming.received_at,
        "handled_at": now,
    }


def _answer_stranger(
    practice: Practice, connection: Connection, incoming: Incoming, now: datetime
) -> None:
    """One neutral answer to an address for ever: two robots must not talk all night."""
    key = f"stranger.{incoming.channel}.{incoming.address}"
    linking.say_to_anyone(practice, connection, incoming, "stranger", key, now)


def _hear(desk: Desk, party: Party, incoming: Incoming, inbound: int) -> None:
    role = incoming.by or party.role
    language = desk.chart.conversation.language
    asked = asked_of(desk, role)
    pressed = _old_button(desk, incoming)
    if pressed is not None:
        asked = Asked.SYMPTOM_CHECK
        reading = desk.practice.read(incoming.text, asked, language)
        if not _is_alarm(reading):
            _set_aside(desk, pressed, incoming, inbound)
            return
    reading = desk.practice.read(incoming.text, asked, language)
    inbox.put_reading(desk.connection, inbound, asked, reading)
    answer = _ready_answer(desk, incoming.text, language)
    heard = Heard(reading, incoming.text, role, answer)
    if role == "coach" and not joining.has_joined(desk):
        joining.hear_invited(desk, heard)
    else:
        take_turn(replace(desk, heard=heard), heard)


def _ready_answer(desk: Desk, text: str, language: str) -> str | None:
    template = desk.practice.answer(text, language)
    if template is None:
        return None
    return filled(desk.practice.book, template, values(desk.chart, language, desk.now), language)


def _old_button(desk: Desk, incoming: Incoming) -> Message | None:
    """The message whose button was pressed, when this phone was asked something else since."""
    if incoming.answers is None:
        return None
    pressed = outbox.by_key(desk.connection, incoming.answers)
    if pressed is None or incoming.text not in pressed.choices:
        return None
    newest = outbox.newest_question(desk.connection, incoming.channel, incoming.address)
    return pressed if newest not in (None, pressed.key) else None


def _is_alarm(reading: Reading) -> bool:
    return reading.alert or any(reading.says(act) for act in _ALARMS)


def _set_aside(desk: Desk, pressed: Message, incoming: Incoming, inbound: int) -> None:
    """A late answer must not be taken for one to the open question, and must not be lost either.

    Pressed a second time it says nothing new; otherwise a nurse reads it with its question.
    """
    since = pressed.queued_at
    told_before = (desk.patient, incoming.address, incoming.text, since, inbound)
    if inbox.heard_before(desk.connection, *told_before):
        return
    told = {"late answer to": pressed.text[:200]}
    late = Escalate("unread", incoming.text, (), told)
    take_turn(desk, TimeUp(), before=[late, Say("patient", SYSTEM, "unread_nurse")])


def asked_of(desk: Desk, role: str) -> Asked:
    """What kind of question is open to this writer."""
    question = _open_to(desk.chart, role)
    flow = desk.book.flows.get(question.flow) if question else None
    state = flow.states.get(question.state) if flow and question else None
    return (state.asked if state else None) or Asked.NONE


def _open_to(chart: Chart, role: str) -> OpenQuestion | None:
    patients_own = chart.conversation.open
    if role != "coach":
        return patients_own
    thread = chart.conversation.coach
    own = thread.open if thread else None
    return own or patients_own
