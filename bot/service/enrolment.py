"""Enrolment: a patient, the operation and the dated countdown, in one transaction."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import Connection

from bot.core.consent import AGREED
from bot.core.conversation import Conversation
from bot.core.conversation_json import conversation_to_json
from bot.core.copies import CopyLevel
from bot.core.dialogue_draft import SYSTEM
from bot.core.protocol import FactValue, MedicineHold, Surgery
from bot.core.record import Party
from bot.core.values import hospital_values
from bot.core.wording import filled, line_text
from bot.service import planning
from bot.service.addressing import share
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.effects import apply_effects
from bot.service.inviting import invite
from bot.service.practice import Practice
from bot.store import audit, conversations, patients, surgeries
from bot.store.consents import Consent, note_consent
from bot.store.engine import writing
from bot.store.links import LinkOwner


@dataclass(frozen=True, slots=True)
class CoachWish:
    """The support person whom the patient names at enrolment."""

    name: str
    channel: str
    address: str
    level: CopyLevel = CopyLevel.REMINDERS
    language: str | None = None  # the patient's, unless told


@dataclass(frozen=True, slots=True)
class Enrolment:
    """Everything that enrolling needs. `reference` is the hospital's own id of the patient.

    `agreed` is how the patient agreed before: "paper" or "class", for the wording of that name in
    the content, or the wording itself. Without it the first message is the question of consent.
    An empty `address` is one that comes later: the patient opens the chat by a link, and messages
    are held until then. `shared`: staff know that the patient's or the coach's telephone is used by
    another person on file too, and allow it.
    """

    reference: str
    name: str
    channel: str
    address: str
    surgery: Surgery
    surgeon: str
    born: date | None = None
    language: str = "en"
    facts: Mapping[str, FactValue] = field(default_factory=dict)
    holds: tuple[MedicineHold, ...] = ()
    coach: CoachWish | None = None
    dawn_agreed: bool = False
    agreed: str = ""
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Enrolled:
    """The patient's id, and whether this call enrolled them or they were enrolled before."""

    patient: int
    new: bool


def enrol(practice: Practice, wish: Enrolment, who: str, now: datetime) -> Enrolled:
    """Enrol one patient; a reference that is enrolled already changes nothing.

    1. Patient, address, facts, medicine holds, surgery; 2. an empty conversation; 3. the coach's
    invitation; 4. the dated countdown; 5. what can no longer be done becomes the nurse's matter.
    Raises AddressTaken when the address is another person's and sharing it was not allowed.
    """
    with writing(practice.engine) as connection:
        patient = patients.add_patient(
            connection, wish.reference, wish.name, wish.born, now, wish.dawn_agreed
        )
        if patient is None:
            known = patients.patient_by_reference(connection, wish.reference)
            return Enrolled(int(known or 0), new=False)
        _store(connection, practice, patient, wish, who, now)
        desk = Desk(connection, practice, load_chart(connection, practice, patient), now, staff=who)
        share(desk, Party(patient, wish.channel, wish.address))
        if wish.coach is not None:
            coach = wish.coach
            invite(
                desk, coach.name, coach.channel, coach.address, coach.level,
                coach.language or wish.language, shared=wish.shared,
            )  # fmt: skip
            desk = Desk(
                connection, practice, load_chart(connection, practice, patient), now, staff=who
            )
        apply_effects(desk, planning.plan(desk).escalations)
        audit.note(connection, who, "enrolled", patient, now, {"reference": wish.reference})
        return Enrolled(patient, new=True)


def _store(
    connection: Connection,
    practice: Practice,
    patient: int,
    wish: Enrolment,
    who: str,
    now: datetime,
) -> None:
    address = wish.address or LinkOwner(patient).waiting_address
    patients.add_contact(connection, patient, wish.channel, address, shared=wish.shared)
    for name, value in wish.facts.items():
        patients.learn_fact(connection, patient, name, value, who, now)
    for hold in wish.holds:
        patients.put_hold(connection, patient, hold)
    surgeries.add_surgery(connection, patient, wish.surgeon, wish.surgery)
    body = conversation_to_json(Conversation(language=wish.language))
    conversations.add_conversation(connection, patient, body)
    if wish.agreed:
        patients.learn_fact(connection, patient, AGREED, True, who, now)
        consent = Consent("messages", True, _wording(practice, wish), wish.language, now)
        note_consent(connection, Party(patient, wish.channel, address), consent)


def _wording(practice: Practice, wish: Enrolment) -> str:
    book, language = practice.book, wish.language
    said = line_text(book, SYSTEM, f"consent_{wish.agreed}", language)
    told = hospital_values(practice.rules_for(wish.surgeon), language)
    return filled(book, said or wish.agreed, told, language)
