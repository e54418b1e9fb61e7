"""The name at the head of every message to a telephone that several people use."""

from sqlalchemy import Connection

from bot.core.dialogue_draft import SYSTEM
from bot.core.flow import FlowBook
from bot.core.record import Message, Party
from bot.core.sharing import Person, names_of
from bot.core.wording import filled, line_text
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.store import audit, coaches, outbox, patients


def headed(desk: Desk, to: Party, text: str, language: str) -> str:
    """The text as it goes out: on a shared phone it begins with whom it is for."""
    writer = desk.writer
    if desk.alone and writer and (writer.channel, writer.address) == (to.channel, to.address):
        return text
    if desk.reach is not None and desk.reach.alone and desk.reach.party == to:
        return text
    people = patients.people_at(desk.connection, to.channel, to.address)
    if len(people) < 2:
        return text
    name = desk.for_all or _name(people, to)
    return with_head(desk.practice.book, name, text, language)


def with_head(book: FlowBook, name: str, text: str, language: str) -> str:
    """The text behind "For Ruth:" in the reader's language."""
    head = line_text(book, SYSTEM, "shared_for", language)
    return filled(book, head, {"name": name, "words": text}, language)


def share(desk: Desk, to: Party) -> None:
    """Take up a further person at an address: what waits there for the first gets their name.

    Nothing is done at an address of one person. Who allowed it is kept for everyone concerned.
    """
    people = patients.people_at(desk.connection, to.channel, to.address)
    if len(people) < 2:
        return
    for patient in {person.party.patient for person in people}:
        audit.note(desk.connection, desk.staff, "allowed a shared phone", patient, desk.now)
    if len(people) == 2:  # with more, what waits has its head already
        for waiting in outbox.not_out(desk.connection, to.channel, to.address):
            _head_waiting(desk, people, waiting)


def _head_waiting(desk: Desk, people: tuple[Person, ...], waiting: Message) -> None:
    found = next((p for p in people if _is_to(waiting, p.party)), None)
    if found is not None:
        language = _language(desk.connection, desk, found.party)
        name = _name(people, found.party)
        text = with_head(desk.practice.book, name, waiting.text, language)
        outbox.reword(desk.connection, waiting.id, text)


def _is_to(message: Message, party: Party) -> bool:
    return (message.patient, message.to_role) == (party.patient, party.role)


def _language(connection: Connection, desk: Desk, party: Party) -> str:
    for coach in coaches.coaches_of(connection, party.patient):
        if coach.id == party.coach:
            return coach.language
    return load_chart(connection, desk.practice, party.patient).conversation.language


def _name(people: tuple[Person, ...], to: Party) -> str:
    names = names_of(people)
    return next(
        name
        for person, name in zip(people, names, strict=True)
        if (person.party.patient, person.party.coach) == (to.patient, to.coach)
    )
