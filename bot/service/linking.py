"""Opening a chat by a link: whose code it is, and the year of birth before anything personal.

A link is a patient's or a coach's; both are asked for the patient's year. Until it is right the
phone hears only lines that could be sent to anyone. What it writes stands in the patient's thread,
marked as unconfirmed; an alarm in it goes to the nurse at once.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from bot.channels.base import Incoming
from bot.core.consent import must_be_asked
from bot.core.conversation import Escalate
from bot.core.dialogue_alarms import find_alarm
from bot.core.dialogue_draft import SYSTEM
from bot.core.facts import derive_facts
from bot.core.identity import Check, Standing, answer, years_in
from bot.core.one_way import hashed
from bot.core.wording import filled, line_text
from bot.reading.reading import Act, Asked, Reading
from bot.service.cases import raise_case
from bot.service.chart import candidate, load_chart, values
from bot.service.desk import Desk
from bot.service.link_codes import Caller, waits_for_link
from bot.service.practice import Practice
from bot.service.strangers import queue_to, say_to_anyone
from bot.store import audit, inbox, links
from bot.store.links import LinkOwner


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
    if caller.owner is None:
        key = f"link_over.{incoming.channel}.{incoming.address}.{now:%Y-%m-%d}"
        say_to_anyone(practice, connection, incoming, "link_over", key, now)
        return
    desk = Desk(connection, practice, load_chart(connection, practice, caller.owner.patient), now)
    phone = _Phone(desk, incoming, inbound, caller.owner)
    if caller.known is not None:
        phone.known_already(caller)
    elif caller.opened:
        links.use_code(connection, hashed(incoming.enrol or ""), now)
        phone.store(Check())
        phone.say_everywhere(phone.line_for_owner("link_ask"))
    elif caller.check is not None:
        phone.answers(caller.check)


@dataclass(frozen=True, slots=True)
class _Phone:
    """A phone under check, and the message it sent."""

    desk: Desk
    incoming: Incoming
    inbound: int
    owner: LinkOwner

    def known_already(self, caller: Caller) -> None:
        """Its owner opened a link again; or it is on record for somebody else, which a nurse
        must sort out, for two people's messages would run together."""
        known = caller.known
        if known is not None and known.patient == self.owner.patient:
            if known.coach == self.owner.coach:
                code = hashed(self.incoming.enrol or "")
                links.use_code(self.desk.connection, code, self.desk.now)
                self.say("link_known")
                return
            if self.owner.coach is not None:
                self.say("link_of_coach")
                return
        why = "the link was opened on a telephone that is on file for another person"
        raise_case(self.desk, Escalate("link_refused", "", (), {"why": why}))
        self.say_everywhere("link_over")

    def answers(self, check: Check) -> None:
        """Read danger and stop first, then the year. A link opened again is nobody's words."""
        if _is_start(self.incoming):
            if check.standing is Standing.ASKING:
                self.say(self.line_for_owner("link_ask_again"))
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
            self.say(self.line_for_owner("link_ask_again"))
            return
        self._open()

    def _open(self) -> None:
        """The phone is theirs: what waited for it goes out, a coach's invitation too."""
        desk, connection, coach = self.desk, self.desk.connection, self.owner.coach
        where = (self.owner, self.incoming.channel, self.incoming.address)
        if coach is not None and not waits_for_link(desk, coach):
            self.say("link_over")
            return
        links.open_address(connection, *where)
        who = "patient" if coach is None else "coach"
        audit.note(connection, who, "opened the chat", desk.patient, desk.now)
        if coach is not None and must_be_asked(desk.chart.facts):
            links.readdress_held(connection, *where)
            self.say("link_right_coach")
        elif links.release_held(connection, *where, desk.now) == 0:
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
        links.put_check(desk.connection, *where, self.owner, check, desk.now)

    def line_for_owner(self, line: str) -> str:
        """The patient is asked for their own year, a coach for the patient's."""
        return line if self.owner.coach is None else f"{line}_coach"

    def say(self, line: str, part: str = "answer") -> None:
        """Queue one line in the reader's language."""
        self._queue(self._text(line, self._language), part)

    @property
    def _language(self) -> str:
        coaches = (c.language for c in self.desk.chart.coaches if c.id == self.owner.coach)
        return next(coaches, self.desk.chart.conversation.language)

    def say_everywhere(self, line: str) -> None:
        """Queue one line in every language: we do not know yet who reads it."""
        languages = self.desk.practice.book.languages
        self._queue("\n\n".join(self._text(line, each) for each in languages), "answer")

    def _text(self, line: str, language: str) -> str:
        book, told = self.desk.practice.book, values(self.desk.chart, language, self.desk.now)
        return filled(book, line_text(book, SYSTEM, line, language), told, language)

    def _queue(self, text: str, part: str) -> None:
        key = f"link.{self.inbound}.{part}"
        desk = self.desk
        queue_to(desk.connection, self.incoming, text, key, desk.now, desk.patient)


def _is_start(incoming: Incoming) -> bool:
    """The phone opened the link, or pressed the app's start button, once more."""
    return incoming.enrol is not None or incoming.text.strip().lower() == "/start"
