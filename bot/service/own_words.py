"""A message that staff write themselves."""

from datetime import datetime

from bot.core.conversation import Say, TimeUp
from bot.core.dialogue_draft import SYSTEM
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.turns import take_turn
from bot.store import audit, patients
from bot.store.engine import writing

MOST_LETTERS = 600  # four or five parts of a text message


class CannotSend(ValueError):
    """The message cannot go out; the message says why and what to do instead."""


def say(desk: Desk, text: str) -> None:
    """Send the patient what a member of staff wrote, as written.

    Raises CannotSend for an empty or a very long text and for somebody who must not be written to.
    """
    told = text.strip()
    if not told:
        raise CannotSend("There is no text. Write what the patient shall read.")
    if len(told) > MOST_LETTERS:
        raise CannotSend(
            f"{len(told)} letters are too long for a text. Use at most {MOST_LETTERS}."
        )
    party = patients.address_of(desk.connection, desk.patient)
    if party is None or party.stopped or desk.chart.conversation.stopped:
        raise CannotSend("The patient has stopped the messages, or has no address. Call instead.")
    said = Say("patient", SYSTEM, "own_words", text=told.replace("{", "(").replace("}", ")"))
    take_turn(desk, TimeUp(), before=[said])
    audit.note(desk.connection, desk.staff, "wrote to the patient", desk.patient, desk.now)


def send(practice: Practice, patient: int, text: str, who: str, now: datetime) -> None:
    """One such message, as one transaction."""
    with writing(practice.engine) as connection:
        patients.lock(connection, patient)
        say(
            Desk(connection, practice, load_chart(connection, practice, patient), now, staff=who),
            text,
        )
