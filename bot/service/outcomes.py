"""What became of messages that were given to a provider: accepted, refused or unknown."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import Connection

from bot.channels.base import SendFailed
from bot.core import escalation
from bot.core.record import Message
from bot.service.cases import save
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.undelivered import tell_person
from bot.store import claims, escalations, patients
from bot.store.engine import writing

MOST_ATTEMPTS = 6
FIRST_WAIT = timedelta(seconds=20)
LONGEST_WAIT = timedelta(minutes=15)
BATCH = 50  # messages to a commit
BRIEF = timedelta(milliseconds=25)  # the answer of a gateway that takes longer is stored at once
Clock = Callable[[], datetime]
Answer = tuple[Message, str]  # a message that was accepted, and the provider's id of it


@dataclass(slots=True)
class Relay:
    """What one round of the relay did."""

    sent: int = 0
    retried: int = 0
    failed: int = 0
    stale: int = 0


@dataclass(slots=True)
class Answers:
    """What was accepted and is not stored yet: one commit for what was sent within BRIEF.

    A process that dies with them sends them again by their keys, so no more are kept than a fast
    provider accepts in that time; of a slow one each is stored by itself.
    """

    practice: Practice
    now: datetime
    clock: Clock
    waiting: list[Answer] = field(default_factory=list)
    since: datetime | None = None

    def expect(self) -> None:
        """One is about to be sent: from the first on the time counts."""
        self.since = self.since or self.clock()

    def add(self, message: Message, provider_id: str) -> None:
        """One was accepted: keep it, and store all when it is time."""
        self.waiting.append((message, provider_id))
        since = self.since or self.now
        if len(self.waiting) >= BATCH or self.clock() - since >= BRIEF:
            self.store()

    def store(self) -> None:
        """Store all that wait."""
        answers, self.waiting, self.since = self.waiting, [], None
        if answers:
            accepted(self.practice, answers, self.now)


def accepted(practice: Practice, answers: Sequence[Answer], now: datetime) -> None:
    """Store the providers' ids, in one commit where several may share it.

    A message about an escalation is also an entry in the log of its case: it has its own, and so
    has each of a batch that cannot be stored whole.
    """
    plain = [answer for answer in answers if answer[0].escalation is None]
    alone = [answer for answer in answers if answer[0].escalation is not None]
    if len(plain) > 1:
        alone += _stored_together(practice, plain, now)
    else:
        alone += plain
    faults = [fault for answer in alone if (fault := _stored_alone(practice, *answer, now))]
    if faults:
        raise faults[0]


def _stored_together(practice: Practice, plain: list[Answer], now: datetime) -> list[Answer]:
    """Store them in one commit; return those that have to be stored alone."""
    try:
        with writing(practice.engine) as connection:
            return claims.accept_all(connection, plain, now)
    except Exception:  # one that cannot be stored must not make the others go out again
        return plain


def _stored_alone(
    practice: Practice, message: Message, provider_id: str, now: datetime
) -> Exception | None:
    try:
        with writing(practice.engine) as connection:
            if message.escalation is not None:
                _lock(connection, message)
            if claims.accept(connection, message, provider_id, now):
                _log_in_case(practice, connection, message, now)
    except Exception as error:
        return error
    return None


def _lock(connection: Connection, message: Message) -> None:
    """Whoever locks a patient does it before anything else, so that no two wait for each other."""
    if message.patient is not None:
        patients.lock(connection, message.patient)


def _log_in_case(
    practice: Practice, connection: Connection, message: Message, now: datetime
) -> None:
    if message.escalation is None or message.patient is None or message.to_role == "coach":
        return
    case = escalations.load_case(connection, message.escalation)
    if case.closed:
        return
    nurse = message.to_role == "nurse"
    after = escalation.notified(case, message.name, now) if nurse else escalation.told(case, now)
    desk = Desk(connection, practice, load_chart(connection, practice, message.patient), now)
    save(desk, after, len(case.entries))


def unknown(practice: Practice, message: Message, now: datetime, reason: str, done: Relay) -> None:
    """The answer was lost: a nurse's notice is repeated until a person acknowledges, a patient's
    message gets one more attempt and then a person is told."""
    if message.to_role == "nurse" or message.attempts < 2:
        done.retried += 1
        again(practice, message, now, reason, None)
        return
    done.failed += 1
    settle(practice, message, now, "unknown", reason)


def refused(
    practice: Practice, message: Message, now: datetime, fault: SendFailed, done: Relay
) -> None:
    if fault.permanent or message.attempts >= MOST_ATTEMPTS:
        done.failed += 1
        settle(practice, message, now, "failed", fault.reason)
        return
    done.retried += 1
    again(practice, message, now, fault.reason, fault.retry_after)


def again(
    practice: Practice, message: Message, now: datetime, reason: str, wait: float | None
) -> None:
    pause = timedelta(seconds=wait) if wait is not None else backoff(message.key, message.attempts)
    with writing(practice.engine) as connection:
        changes = {"state": "queued", "reason": reason, "next_try_at": now + pause}
        claims.give_up(connection, message, changes, now)


def backoff(key: str, attempts: int) -> timedelta:
    """How long to wait after the `attempts`-th try: doubling, spread by a hash of the key.

    The hash stands in for chance, so that a run can be repeated exactly.
    """
    doubled = min(FIRST_WAIT * float(2 ** (attempts - 1)), LONGEST_WAIT)
    share = int.from_bytes(sha256(f"{key}/{attempts}".encode()).digest()[:4]) / 2**32
    return doubled * (0.5 + share / 2)


def settle(practice: Practice, message: Message, now: datetime, state: str, reason: str) -> None:
    """Give a message up for good. It is a dead letter, and a person hears of it."""
    with writing(practice.engine) as connection:
        _lock(connection, message)
        if claims.give_up(connection, message, {"state": state, "reason": reason}, now):
            tell_person(practice, connection, message, now, reason)
