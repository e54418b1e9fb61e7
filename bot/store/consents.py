"""What was agreed to, in which words, on which address."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from bot.core.record import Party
from bot.store.engine import insert_row
from bot.store.tables import CONSENT


@dataclass(frozen=True, slots=True)
class Consent:
    """One answer to one question of consent, with the words that were shown."""

    scope: str  # "messages", "dawn", "coach_copies", "coach"
    given: bool
    wording: str
    language: str
    at: datetime


def note_consent(connection: Connection, party: Party, consent: Consent) -> None:
    """Add a consent record. Earlier ones stay: the history is the proof."""
    values = {
        "patient_id": party.patient,
        "coach_id": party.coach,
        "scope": consent.scope,
        "given": consent.given,
        "wording": consent.wording,
        "language": consent.language,
        "channel": party.channel,
        "address": party.address,
        "at": consent.at,
    }
    insert_row(connection, CONSENT, values)
