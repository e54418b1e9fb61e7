"""What the patient lets their coaches see, and taking it back."""

from bot.core.conversation import Say, TimeUp
from bot.core.copies import CopyLevel
from bot.core.dialogue_draft import SYSTEM
from bot.core.record import Party
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import audit, coaches, links, outbox
from bot.store.links import LinkOwner


def change_level(desk: Desk, level: CopyLevel) -> None:
    """Store what the patient now lets their coaches see."""
    coaches.set_level(desk.connection, desk.patient, level)
    detail = {"level": str(level)}
    audit.note(desk.connection, desk.staff, "changed copies", desk.patient, desk.now, detail)


def remove(desk: Desk, coach: int) -> None:
    """The patient takes back their consent: nothing more goes to this coach."""
    found = next(c for c in desk.chart.coaches if c.id == coach)
    coaches.leave(desk.connection, coach, desk.now)
    party = Party(found.patient, found.channel, found.address, coach)
    outbox.withdraw_to(desk.connection, party, "coach removed", desk.now)
    links.take_back(desk.connection, LinkOwner(found.patient, coach), desk.now)
    audit.note(desk.connection, desk.staff, "removed a coach", desk.patient, desk.now)
    left = [Say("patient", SYSTEM, "coach_left_patient", {"coach_name": found.name})]
    take_turn(desk, TimeUp(), before=left, plan_anew=True)
