"""What is said to a phone of which nothing is known, or not enough: nothing personal."""

from datetime import datetime

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.dialogue_draft import SYSTEM
from bot.core.record import Message
from bot.core.values import hospital_values
from bot.core.wording import filled, line_text
from bot.service.practice import Practice
from bot.store import outbox

UNCONFIRMED = "unconfirmed"  # who wrote, before the year of birth was right


def say_to_anyone(
    practice: Practice,
    connection: Connection,
    incoming: Incoming,
    line: str,
    key: str,
    now: datetime,
) -> None:
    """Queue one line, in every language, to a phone of which nothing is known."""
    book = practice.book
    texts = [
        filled(
            book, line_text(book, SYSTEM, line, each), hospital_values(practice.rules, each), each
        )
        for each in book.languages
    ]
    queue_to(connection, incoming, "\n\n".join(texts), key, now, None)


def queue_to(
    connection: Connection,
    incoming: Incoming,
    text: str,
    key: str,
    now: datetime,
    patient: int | None,
) -> None:
    """Queue a text to the phone that wrote; `patient` is in whose thread it stands, if anyone's."""
    outbox.queue(
        connection,
        Message(
            key=key,
            patient=patient,
            to_role="unknown" if patient is None else UNCONFIRMED,
            name="",
            channel=incoming.channel,
            address=incoming.address,
            text=text,
            choices=(),
            queued_at=now,
        ),
    )
