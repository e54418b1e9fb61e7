"""One incoming message, start to finish, in one transaction."""

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.record import Party
from bot.core.sharing import Person
from bot.service import linking, shared_phone
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.hearing import hear
from bot.service.link_codes import Caller, caller_of
from bot.service.practice import Practice
from bot.service.strangers import UNCONFIRMED, say_to_anyone
from bot.store import inbox, patients
from bot.store.engine import apart, writing


def handle(practice: Practice, incoming: Incoming, now: datetime) -> int | None:
    """Take in one message; return the patient's id, or None for a repeat or a stranger.

    1. Find whose address it is, and lock the patients; 2. insert it into the inbox (the provider's
    id is unique: a repeat stops here); 3. a link that opens the chat is answered apart, and a
    stranger gets one neutral answer; 4. on a shared phone decide whose it is; 5. read it in the
    light of the open question and keep the reading; 6. step, store state, effects and messages;
    7. commit. Only then may the caller acknowledge it to the provider.
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
    people = patients.people_at(connection, incoming.channel, incoming.address)
    party = people[0].party if people else None
    caller = caller_of(connection, incoming, party, now)
    patient = caller.patient if caller else (party.patient if party else None)
    _lock(connection, patient, people)
    shared = caller is None and len(people) > 1  # in nobody's thread until it is known whose
    thread = (None, "unknown") if shared else (patient, _role(caller, party))
    inbound = inbox.put_inbound(connection, _row(incoming, *thread, now))
    if inbound is None:
        return None
    if caller is not None:
        linking.hear(practice, connection, caller, incoming, inbound, now)
    elif party is None:
        _answer_stranger(practice, connection, incoming, now)
    elif shared:
        return shared_phone.hear(practice, connection, people, incoming, inbound, now)
    else:
        chart = load_chart(connection, practice, party.patient)
        desk = Desk(connection, practice, chart, now, writer=party, alone=len(people) == 1)
        hear(desk, party, incoming, inbound)
    return patient


def _lock(connection: Connection, patient: int | None, people: Sequence[Person]) -> None:
    """Lock everyone whom the message may move, always in the same order."""
    concerned = {person.party.patient for person in people} | {patient}
    for each in sorted(found for found in concerned if found is not None):
        patients.lock(connection, each)


def _role(caller: Caller | None, party: Party | None) -> str:
    if caller is not None and caller.known is None and caller.patient is not None:
        return UNCONFIRMED
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
    say_to_anyone(practice, connection, incoming, "stranger", key, now)
