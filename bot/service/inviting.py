"""Inviting a coach: the only message that goes to them before they agree themselves."""

from collections.abc import Mapping

from bot.content.cells import CellFault, parse_phone
from bot.core.consent import must_be_asked
from bot.core.conversation import Escalate, Say
from bot.core.copies import CopyLevel
from bot.core.dialogue_draft import SYSTEM
from bot.core.protocol import FactValue
from bot.core.record import Message, Party
from bot.core.wording import say_text
from bot.service.addressing import headed, share
from bot.service.chart import values
from bot.service.desk import Desk
from bot.store import audit, coaches, outbox, patients
from bot.store.links import LinkOwner


def invite(
    desk: Desk,
    name: str,
    channel: str,
    address: str,
    level: CopyLevel,
    language: str,
    *,
    shared: bool = False,
) -> int:
    """Add a coach and send the invitation, the only message before they agree themselves.

    It tells of the patient, so it waits while the patient's own consent is not on record, and while
    the coach has not opened the chat (`address` is ""). `shared`: staff allow that the address is
    another person's too.
    """
    patients.learn_fact(desk.connection, desk.patient, "coach_name", name, desk.staff, desk.now)
    coach = coaches.add_coach(desk.connection, desk.patient, name, level, language)
    address = address or LinkOwner(desk.patient, coach).waiting_address
    patients.add_contact(desk.connection, desk.patient, channel, address, coach, shared=shared)
    party = Party(desk.patient, channel, address, coach)
    share(desk, party)
    told = {**values(desk.chart, language, desk.now), "coach_name": name}
    text = say_text(desk.practice.book, Say("coach", SYSTEM, "coach_invite"), told, language)
    outbox.queue(
        desk.connection,
        Message(
            key=f"invite.{coach}",
            patient=desk.patient,
            to_role=party.role,
            name=name,
            channel=channel,
            address=address,
            text=headed(desk, party, text, language),
            choices=(),
            queued_at=desk.now,
            state="held" if must_be_asked(desk.chart.facts) else "queued",
        ),
    )
    detail = {"coach": coach, "level": str(level)}
    audit.note(desk.connection, desk.staff, "invited a coach", desk.patient, desk.now, detail)
    return coach


def invite_named(
    desk: Desk, facts: Mapping[str, FactValue], level: CopyLevel
) -> tuple[Escalate, ...]:
    """Invite the person whom the patient named in the chat, once name, number and level are known.

    A number that cannot be used, or that is somebody else's already, becomes the nurse's matter: a
    telephone that two people share is not asked to keep their messages apart. Nothing is done for a
    patient who has a coach, or who gave no number (the nurse was asked to help then).
    """
    name, typed = str(facts.get("coach_name", "")).strip(), str(facts.get("coach_phone", ""))
    own = patients.address_of(desk.connection, desk.patient)
    if desk.chart.coaches or not name or not typed.strip() or own is None:
        return ()
    try:
        address = parse_phone(typed)
    except CellFault:
        return (_for_nurse(name, typed, "the number cannot be read"),)
    if not own.address.startswith("+"):
        return (
            _for_nurse(
                name, typed, f"{own.channel} knows no telephone numbers: add them by a link"
            ),
        )
    if patients.find_party(desk.connection, own.channel, address) is not None:
        return (_for_nurse(name, typed, "the number is another person's on file"),)
    invite(desk, name, own.channel, address, level, desk.chart.conversation.language)
    return ()


def _for_nurse(name: str, typed: str, why: str) -> Escalate:
    return Escalate("coach_invite", "", (), {"support person": name, "number": typed, "why": why})
