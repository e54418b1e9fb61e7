"""A message from a phone that several people use: whose it is, or the question whose it is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.conversation import Escalate
from bot.core.record import Party
from bot.core.sharing import (
    ASK_FOR,
    Decision,
    Person,
    Says,
    chosen,
    decide,
    names_of,
    one_for_each_patient,
)
from bot.core.taking_back import noted
from bot.reading.reading import Act
from bot.service import asking_whose
from bot.service.apart import AGAIN, apart
from bot.service.cases import ALARM, raise_case, save
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.hearing import hear as hear_one
from bot.service.listeners import Listener, listeners, what_it_says
from bot.service.practice import Practice
from bot.store import escalations, inbox, outbox, patients, shared
from bot.store.engine import reading, writing
from bot.store.shared import Kept, Place

_BATCH = 200
_NOT_TOLD = "it came from a shared telephone, and nobody said whom it is about"


def hear(
    practice: Practice,
    connection: Connection,
    people: Sequence[Person],
    incoming: Incoming,
    inbound: int,
    now: datetime,
) -> int:
    """Deal with one message from a shared phone; return the id of a patient concerned.

    1. A button belongs to the message that it stands under; 2. a name or number may answer "who is
    this about?": what was kept is now read as that person's; 3. a stop counts for all; 4. what is
    clearly one person's is theirs; 5. of anything else we ask, an alarm being escalated first.
    """
    phone = _Phone(practice, connection, people, incoming, inbound, now)
    found = listeners(practice, connection, people, incoming.text, now)
    waiting = shared.waiting_at(connection, incoming.channel, incoming.address)
    if (party := phone.pressed()) is not None:
        phone.give(party)
    elif (party := _told_whose(waiting, people, found, incoming.text)) is not None:
        phone.settle(waiting, party)
    else:
        party = phone.follow(found, waiting)
    return party.patient


def expire(practice: Practice, now: datetime, failed: list[str]) -> int:
    """Give a nurse every text of which nobody said in time whom it is about; return how many.

    A phone whose people cannot be read is put into `failed` and tried again later.
    """
    with reading(practice.engine) as connection:
        places = shared.expired(connection, now, _BATCH)
    count = 0
    for place in places:
        again = partial(shared.put_off, place=place, now=now, until=now + AGAIN)
        with apart(practice, f"texts kept from {place.first} on", again, failed):
            count += _expire_at(practice, place, now)
    return count


def _expire_at(practice: Practice, place: Place, now: datetime) -> int:
    """What waited too long at one phone, in one transaction."""
    with writing(practice.engine) as connection:
        people = patients.people_at(connection, place.channel, place.address)
        for patient in sorted({person.party.patient for person in people}):
            patients.lock(connection, patient)
        waiting = shared.waiting_at(connection, place.channel, place.address)
        late = [kept for kept in waiting if kept.expires_at <= now]
        _leave_to_nurse(practice, connection, late, now)
        return len(late)


def _leave_to_nurse(
    practice: Practice, connection: Connection, waiting: Sequence[Kept], now: datetime
) -> None:
    """An alarm is with the nurse already and gets a note; other words become theirs to read."""
    shared.close(connection, waiting, now)
    for kept in waiting:
        for party in one_for_each_patient(kept.people):
            chart = load_chart(connection, practice, party.patient)
            desk = Desk(connection, practice, chart, now)
            if kept.alarm:
                _note_in_case(desk, f"Still open whose the message is: {_NOT_TOLD}.")
            else:
                raise_case(desk, Escalate("unread", kept.text, (_NOT_TOLD,)))


def _note_in_case(desk: Desk, note: str) -> None:
    case = escalations.open_case_of(desk.connection, desk.patient, ALARM)
    if case is not None:
        save(desk, noted(case, "coach bot", note, desk.now), len(case.entries))


def _told_whose(
    waiting: Sequence[Kept], people: Sequence[Person], found: Sequence[Listener], text: str
) -> Party | None:
    """The person whom an answer to our question names; never words that alarm or stop.

    A bare number is the answer only while nothing else was asked since.
    """
    if not waiting or any(each.words or each.stops for each in found):
        return None
    asked = [person for person in people if _is_one_of(person.party, waiting[-1].people)]
    place = chosen(text, names_of(asked))
    since = waiting[-1].kept_at
    newer = any(o.owner.asked_at is not None and o.owner.asked_at > since for o in found)
    if place is None or (newer and not any(letter.isalpha() for letter in text)):
        return None
    return asked[place].party


def _is_one_of(party: Party, parties: Iterable[Party]) -> bool:
    return any((each.patient, each.coach) == (party.patient, party.coach) for each in parties)


@dataclass(frozen=True, slots=True)
class _Phone:
    """A shared phone, and the message that came from it."""

    practice: Practice
    connection: Connection
    people: Sequence[Person]
    incoming: Incoming
    inbound: int
    now: datetime

    def pressed(self) -> Party | None:
        """Whose button was pressed; None for typed words and for our own question's buttons."""
        key = self.incoming.answers
        message = outbox.by_key(self.connection, key) if key else None
        if message is None or message.key.startswith(asking_whose.KEY):
            return None
        if self.incoming.text not in message.choices:
            return None
        to = [
            person.party
            for person in self.people
            if (person.party.patient, person.party.role) == (message.patient, message.to_role)
        ]
        return to[0] if len(to) == 1 else None

    def give(self, party: Party) -> None:
        """The message is this person's and is read as from a phone of their own."""
        inbox.give_to(self.connection, self.inbound, party.patient, party.role)
        hear_one(self._desk(party), party, self.incoming, self.inbound)

    def settle(self, waiting: Sequence[Kept], party: Party) -> None:
        """What was kept is read as this person's; who else was warned of it gets a note."""
        shared.close(self.connection, waiting, self.now)
        inbox.give_to(self.connection, self.inbound, party.patient, party.role)
        for kept in waiting:
            said = Incoming(kept.channel, kept.address, kept.text, "", kept.kept_at)
            inbox.give_to(self.connection, kept.inbound, party.patient, party.role)
            hear_one(self._desk(party), party, said, kept.inbound)
        if any(kept.alarm for kept in waiting):
            name = dict(zip((p.party for p in self.people), self._names, strict=True))[party]
            for other in one_for_each_patient(person.party for person in self.people):
                if other.patient != party.patient:
                    note = f"From the shared telephone: the message was about {name}."
                    _note_in_case(self._desk(other), note)

    def follow(self, found: Sequence[Listener], waiting: Sequence[Kept]) -> Party:
        """Do what was decided about a text that no button and no answer explains."""
        says = what_it_says(found)
        decision = decide([each.owner for each in found], says)
        if says is Says.STOP:
            return self._stop_all(found, waiting)
        if decision.ask:
            return self._ask(found, decision, waiting)
        for party in decision.heard:
            self.give(party)
        return decision.heard[0]

    def _ask(self, found: Sequence[Listener], decision: Decision, waiting: Sequence[Kept]) -> Party:
        """Keep the text, and ask; a further text while we wait is kept without asking again."""
        people = tuple(person.party for person in self.people)
        cases = asking_whose.warn(found, decision, self._names)
        kept = Kept(
            self.inbound, self.incoming.channel, self.incoming.address, self.incoming.text,
            bool(decision.warned), people, self.now, self.now + ASK_FOR,
        )  # fmt: skip
        shared.keep(self.connection, kept)
        if cases or not waiting:
            case = cases[0] if cases else None
            asking_whose.ask(found, decision, self._names, self.inbound, case)
        return people[0]

    def _stop_all(self, found: Sequence[Listener], waiting: Sequence[Kept]) -> Party:
        """Everyone's messages end, with one confirmation; a nurse hears of each."""
        _leave_to_nurse(self.practice, self.connection, waiting, self.now)
        order = sorted(found, key=lambda each: (each.party.stopped, each.party.coach or 0))
        wrong = any(each.reading.says(Act.WRONG_NUMBER) for each in found)
        asked = next(each.asked for each in found if each.stops)
        inbox.give_to(self.connection, self.inbound, order[0].party.patient, order[0].party.role)
        for each in order:
            outbox.withdraw_to(self.connection, each.party, "stopped", self.now)
        for place, each in enumerate(order):
            desk = self._desk(each.party, for_all=", ".join(self._names), answered=place > 0)
            hear_one(desk, each.party, self.incoming, self.inbound, asked)
            patients.stop_address(self.connection, each.party, self.now, wrong=wrong)
            self._tell_of_coach(each.party)
        return order[0].party

    def _tell_of_coach(self, party: Party) -> None:
        """The nurse of a patient elsewhere hears that their support person is without messages."""
        here = {person.party.patient for person in self.people if person.party.coach is None}
        if party.coach is not None and party.patient not in here:
            why = "the telephone that the support person shares was stopped"
            raised = Escalate("coach_asked", self.incoming.text, (why,))
            raise_case(self._desk(party), raised)

    def _desk(self, party: Party, *, for_all: str = "", answered: bool = False) -> Desk:
        chart = load_chart(self.connection, self.practice, party.patient)
        return Desk(
            self.connection, self.practice, chart, self.now, writer=party,
            for_all=for_all, answered=answered,
        )  # fmt: skip

    @property
    def _names(self) -> tuple[str, ...]:
        return names_of(self.people)
