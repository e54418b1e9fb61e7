"""A message that did not arrive is silence, not a message sent: a person must hear of it."""

from datetime import datetime

from sqlalchemy import Connection

from bot.core.conversation import Escalate
from bot.core.record import Message
from bot.service.cases import raise_case
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice


def tell_person(
    practice: Practice, connection: Connection, message: Message, now: datetime, reason: str
) -> None:
    """Open a case. A nurse's notice has the next contact as its remedy: its deadline runs on."""
    if message.patient is None or message.to_role == "nurse":
        return
    desk = Desk(connection, practice, load_chart(connection, practice, message.patient), now)
    what = {"to": message.to_role, "why": reason, "message": message.prompt_key or "a reply"}
    raise_case(desk, Escalate("undelivered", "", (), what))
