"""Opening a chat by a link: whose code it is, and the year of birth before anything personal.

Until the year is right the phone hears only lines that could be sent to anyone. What it writes
stands in the patient's thread, marked as unconfirmed; an alarm in it goes to the nurse at once.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.conversation import Escalate
from bot.core.dialogue_alarms import find_alarm
from bot.core.dialogue_draft import SYSTEM
from bot.core.facts import derive_facts
from bot.core.identity import Check, Standing, answer, years_in
from bot.core.record import Message, Party
from bot.core.values import hospital_values
from bot.core.wording import filled, line_text
from bot.reading.reading import Act, Asked, Reading
from bot.service.cases import raise_case
from bot.service.chart import candidate, load_chart, values
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.store import audit, inbox, links, outbox

LINK_LASTS = timedelta(hours=72)  # our choice: a weekend between the visit and the first try
UNCONFIRMED = "unconfirmed"  # who wrote, before the year of birth was right


@dataclass(frozen=True, slots=True)
class Caller:
    """A phone that came by a link. `check` is None when the link opens nothing."""

    patient: int | None
    check: Check | None = None
    opened: bool = False  # the link was opened by this very message
    known: Party | None = None  # the phone is on record already


def keep_code(desk: Desk, code: str) -> None:
    """Keep the code of a new link. Raises ValueError without a date of birth to check."""
    if desk.chart.patient.born is None:
        raise ValueError(
            "The link asks for the year of birth, and none is on record. Enter the date of birth."
        )
    expires = desk.now + LINK_LASTS
    links.put_code(desk.connection, _hashed(code), desk.patient, desk.now, expires)
    audit.note(desk.connection, desk.staff, "made a link", desk.patient, desk.now)


def caller_of(
    connection: Connection, incoming: Incoming, known: Party | None, now: datetime
) -> Caller | None:
    """Who writes, if this message opens a link or comes from a phone that is being checked.

    `known` is whose address it is on record already.
    """
    if known is not None and incoming.enrol is None:
        return None
    checked = links.check_of(connection, incoming.channel, incoming.address)
    if incoming.enrol is None:
        return Caller(*checked) if checked else None
    owner = links.owner_of_code(connection, _hashed(incoming.enrol), now)
    if known is not None:
        return Caller(owner or known.patient, known=known, opened=owner is not None)
    if owner is not None:
        return Caller(owner, Check(), opened=True)
    return Caller(*checked) if checked else Caller(None)


def hear(
    practice: Practice,
    connection: Connection,
    caller: Caller,
    incoming: Incoming,
    inbound: int,
    now: datetime,
) -> None:
    """Answer a phone that came by a link.

    1. A link that opens nothing is said to be over; 2. a phone on record needs no check; 3. a
    link just opened, or opened again, gets the question; 4. anything else is an answer to it.
    """
    if caller.patient is None:
        key = f"link_over.{incoming.channel}.{incoming.address}.{now:%Y-%m-%d}"
        say_to_anyone(practice, connection, incoming, "link_over", key, now)
        return
    desk = Desk(connection, practice, load_chart(connection, practice, caller.patient), now)
    phone = _Phone(desk, incoming, inbound)
    if caller.known is not None:
        phone.known_already(caller)
    elif caller.opened:
        links.use_code(connection, _hashed(incoming.enrol or ""), now)
        phone.store(Check())
        phone.say_everywhere("link_ask")
    elif caller.check is not None:
        phone.answers(caller.check)


@dataclass(frozen=True, slots=True)
class _Phone:
    """A phone under check, and the message it sent."""

    desk: Desk
    incoming: Incoming
    inbound: int

    def known_already(self, caller: Caller) -> None:
        """Its owner opened a link again; or it is on record for somebody else, which a nurse
        must sort out, for two people's messages would run together."""
        owner = caller.known.patient if caller.known else None
        if owner == self.desk.patient:
            links.use_code(self.desk.connection, _hashed(self.incoming.enrol or ""), self.desk.now)
            self.say("link_known")
            return
        why = "the link was opened on a telephone that is on file for another person"
        raise_case(self.desk, Escalate("link_refused", "", (), {"why": why}))
        self.say_everywhere("link_over")

    def answers(self, check: Check) -> None:
        """Read danger and stop first, then the year. A link opened again is nobody's words."""
        if _is_start(self.incoming):
            if check.standing is Standing.ASKING:
                self.say("link_ask_again")
            return
        reading = self._read()
        alarmed = self._raise_alarms(reading)
        born = self.desk.chart.patient.born
        if check.standing is not Standing.ASKING or born is None:
            return
        right = years_in(self.incoming.text, born.year) == {born.year}
        if reading.says(Act.OPT_OUT) or reading.says(Act.WRONG_NUMBER):
            self._refuse("the person who opened it wants no messages", "wrong_number")
        elif right or not alarmed:
            self._move(answer(check, self.incoming.text, born.year))

    def _move(self, check: Check) -> None:
        if check.standing is Standing.REFUSED:
            self._refuse("the year of birth was wrong three times", "link_refused")
            return
        self.store(check)
        if check.standing is Standing.ASKING:
            self.say("link_ask_again")
            return
        desk, incoming = self.desk, self.incoming
        where = (desk.patient, incoming.channel, incoming.address)
        links.open_address(desk.connection, *where)
        audit.note(desk.connection, "patient", "opened the chat", desk.patient, desk.now)
        if links.release_held(desk.connection, *where, desk.now) == 0:
            self.say("link_right")

    def _refuse(self, why: str, line: str) -> None:
        self.store(Check(Standing.REFUSED))
        raise_case(self.desk, Escalate("link_refused", self.incoming.text, (), {"why": why}))
        self.say(line)

    def _read(self) -> Reading:
        desk, language = self.desk, self.desk.chart.conversation.language
        reading = desk.practice.read(self.incoming.text, Asked.NONE, language)
        inbox.put_reading(desk.connection, self.inbound, Asked.NONE, reading)
        return reading

    def _raise_alarms(self, reading: Reading) -> bool:
        """An alarm is the nurse's matter whoever wrote it."""
        desk = self.desk
        known = derive_facts(candidate(desk.chart, desk.practice), desk.chart.operation.surgery)
        alarm = find_alarm(desk.practice.book, reading, desk.chart.rules, known.get("age"))
        if alarm is None:
            return False
        note = {"from": "a telephone that has not confirmed the year of birth"}
        for reason in alarm.reasons:
            raise_case(desk, Escalate(reason, self.incoming.text, reading.because, note))
        self.say("link_danger", part="danger")
        return True

    def store(self, check: Check) -> None:
        """Store how far the check has come."""
        desk, incoming = self.desk, self.incoming
        where = (incoming.channel, incoming.address)
        links.put_check(desk.connection, *where, desk.patient, check, desk.now)

    def say(self, line: str, part: str = "answer") -> None:
        """Queue one line in the patient's language."""
        self._queue(self._text(line, self.desk.chart.conversation.language), part)

    def say_everywhere(self, line: str) -> None:
        """Queue one line in every language: we do not know yet who reads it."""
        languages = self.desk.practice.book.languages
        self._queue("\n\n".join(self._text(line, each) for each in languages), "answer")

    def _text(self, line: str, language: str) -> str:
        book, told = self.desk.practice.book, values(self.desk.chart, language, self.desk.now)
        return filled(book, line_text(book, SYSTEM, line, language), told, language)

    def _queue(self, text: str, part: str) -> None:
        key = f"link.{self.inbound}.{part}"
        _queue(self.desk.connection, self.incoming, text, key, self.desk.now, self.desk.patient)


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
    _queue(connection, incoming, "\n\n".join(texts), key, now, None)


def _queue(
    connection: Connection,
    incoming: Incoming,
    text: str,
    key: str,
    now: datetime,
    patient: int | None,
) -> None:
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


def _is_start(incoming: Incoming) -> bool:
    """The phone opened the link, or pressed the app's start button, once more."""
    return incoming.enrol is not None or incoming.text.strip().lower() == "/start"


def _hashed(code: str) -> str:
    """A code has 192 random bits, so a plain hash gives nothing away."""
    return sha256(code.encode()).hexdigest()
