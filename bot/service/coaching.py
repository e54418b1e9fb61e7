"""Inviting a coach, and what the patient lets them see."""

from bot.core.conversation import Say, TimeUp
from bot.core.copies import CopyLevel
from bot.core.dialogue_draft import SYSTEM
from bot.core.record import Message, Party
from bot.core.wording import say_text
from bot.service.chart import values
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import audit, coaches, outbox, patients


def invite(
    desk: Desk, name: str, channel: str, address: str, level: CopyLevel, language: str
) -> int:
    """Add a coach and send the invitation, the only message before they agree themselves."""
    patients.learn_fact(desk.connection, desk.patient, "coach_name", name, desk.staff, desk.now)
    coach = coaches.add_coach(desk.connection, desk.patient, name, level, language)
    patients.add_contact(desk.connection, desk.patient, channel, address, coach)
    told = {**values(desk.chart, language, desk.now), "coach_name": name}
    text = say_text(desk.practice.book, Say("coach", SYSTEM, "coach_invite"), told, language)
    party = Party(desk.patient, channel, address, coach)
    outbox.queue(
        desk.connection,
        Message(
            key=f"invite.{coach}",
            patient=desk.patient,
            to_role=party.role,
            name=name,
            channel=channel,
            address=address,
            text=text,
            choices=(),
            queued_at=desk.now,
        ),
    )
    detail = {"coach": coach, "level": str(level)}
    audit.note(desk.connection, desk.staff, "invited a coach", desk.patient, desk.now, detail)
    return coach


def change_level(desk: Desk, level: CopyLevel) -> None:
    """Store what the patient now lets their coaches see."""
    coaches.set_level(desk.connection, desk.patient, level)
    detail = {"level": str(level)}
    audit.note(desk.connection, desk.staff, "changed copies", desk.patient, desk.now, detail)


def remove(desk: Desk, coach: int) -> None:
    """The patient takes back their consent: nothing more goes to this coach."""
    found = next(c for c in desk.chart.coaches if c.id == coach)
    coaches.leave(desk.connection, coach, desk.now)
    outbox.withdraw_to(desk.connection, found.channel, found.address, "coach removed", desk.now)
    audit.note(desk.connection, desk.staff, "removed a coach", desk.patient, desk.now)
    left = [Say("patient", SYSTEM, "coach_left_patient", {"coach_name": found.name})]
    take_turn(desk, TimeUp(), before=left, plan_anew=True)
