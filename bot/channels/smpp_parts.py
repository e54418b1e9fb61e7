"""Parts of long messages, receipts of several parts, and the ids of messages that have none.

Plain values and tables: no socket, no clock. SMPP 3.4 gives an incoming message no id of its own,
and repeats one after a lost link if our answer did not arrive; `Identities` tells a repeat from a
patient who writes the same word twice.
"""

import hashlib
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aiosmpplib.codec import find_codec_info

from bot.channels.base import DeliveryState
from bot.channels.smpp_read import Delivered
from bot.core.segments import Alphabet, alphabet_of, split

PART_MISSING = "[part missing]"


@dataclass(frozen=True, slots=True)
class OutPart:
    """One submit_sm: octets with their header, and the library's name of the coding."""

    octets: bytes
    coding: str
    long: bool


def out_parts(text: str, key: str) -> tuple[OutPart, ...]:
    """The text as the octets to submit. Parts of one `key` have one reference on every attempt,
    so that a phone that got some of them twice still joins them to one text.
    """
    coding = "gsm0338" if alphabet_of(text) is Alphabet.GSM7 else "ucs2"
    pieces = split(text)
    encoded = [bytes(find_codec_info(coding).encode(piece)[0]) for piece in pieces]
    if len(pieces) == 1:
        return (OutPart(encoded[0], coding, long=False),)
    reference = zlib.crc32(key.encode()) & 0xFF
    return tuple(
        OutPart(bytes((5, 0, 3, reference, len(pieces), number)) + piece, coding, long=True)
        for number, piece in enumerate(encoded, start=1)
    )


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A long message of which parts are missing."""

    source: str
    destination: str
    reference: int
    total: int
    since: datetime
    pieces: Mapping[int, str]

    @property
    def place(self) -> tuple[str, str, int]:
        """What sets it apart from others: two phones may use one reference."""
        return self.source, self.destination, self.reference

    def as_far_as_it_goes(self) -> Delivered:
        """The text with its gaps marked."""
        numbers = range(1, self.total + 1)
        text = " ".join(self.pieces.get(number, PART_MISSING) for number in numbers)
        return Delivered(*self.place[:2], 0, text, (self.reference, 1, self.total))


class LongMessages:
    """Joins the parts of long incoming messages, apart for each phone and reference."""

    def __init__(self, patience: timedelta, unfinished: Iterable[Unfinished] = ()) -> None:
        self._patience = patience
        self._open = {kept.place: kept for kept in unfinished}

    def add(self, delivered: Delivered, now: datetime) -> str | None:
        """The whole text once its last part is in; None while parts are missing."""
        if delivered.part is None or delivered.part[2] < 2:
            return delivered.text
        reference, number, total = delivered.part
        new = Unfinished(delivered.source, delivered.destination, reference, total, now, {})
        kept = self._open.get(new.place, new)
        kept = replace(kept, pieces={**kept.pieces, number: delivered.text})
        self._open[kept.place] = kept
        if len(kept.pieces) < kept.total:
            return None
        return "".join(kept.pieces[n] for n in sorted(kept.pieces))

    def close(self, delivered: Delivered) -> bool:
        """Forgets a message once it is stored; False if it never had parts."""
        if delivered.part is None:
            return False
        place = (delivered.source, delivered.destination, delivered.part[0])
        return self._open.pop(place, None) is not None

    def unfinished(self) -> list[Unfinished]:
        """What waits for its rest."""
        return list(self._open.values())

    def overdue(self, now: datetime, every: bool = False) -> list[Delivered]:
        """Messages whose missing parts did not come in time (or all of them), as far as they go.

        Half a message may hold the word that matters, so it is handed on and marked.
        """
        waiting = self._open.values()
        late = [kept for kept in waiting if every or now - kept.since > self._patience]
        return [kept.as_far_as_it_goes() for kept in late]


class Tally:
    """Receipts of the parts of one message: delivered when all are, undelivered when one is.

    Kept in memory. After a restart only the last part's receipt is known, whose id is the
    message's; then that one decides. A receipt may come before the id is known here ("early").
    """

    def __init__(self, keep_early: int = 1000) -> None:
        self._keep_early = keep_early
        self._whole: dict[str, str] = {}  # id of a part -> id of its message
        self._missing: dict[str, set[str]] = {}
        self._failed: set[str] = set()
        self._early: dict[str, DeliveryState] = {}

    def expect(self, part_ids: list[str]) -> str:
        """Notes the parts of one message and gives the id that stands for all."""
        whole = part_ids[-1]
        early = {part: self._early.pop(part) for part in part_ids if part in self._early}
        if len(part_ids) > 1:
            self._whole.update(dict.fromkeys(part_ids, whole))
            self._missing[whole] = {p for p in part_ids if early.get(p) != DeliveryState.DELIVERED}
            if DeliveryState.UNDELIVERED in early.values():
                self._failed.add(whole)
        return whole

    def report(self, part_id: str, state: DeliveryState) -> tuple[str, DeliveryState] | None:
        """What to report on which message; None while other parts are still to come."""
        whole = self._whole.get(part_id)
        if whole is None:
            self._remember_early(part_id, state)
            return part_id, state
        if state is DeliveryState.SENT:
            return whole, state
        self._missing[whole].discard(part_id)
        failed = state is DeliveryState.UNDELIVERED or whole in self._failed
        if not failed and self._missing[whole]:
            return None
        self._forget(whole)
        return whole, DeliveryState.UNDELIVERED if failed else DeliveryState.DELIVERED

    def _remember_early(self, part_id: str, state: DeliveryState) -> None:
        if state is not DeliveryState.SENT:
            self._early[part_id] = state
        while len(self._early) > self._keep_early:
            del self._early[next(iter(self._early))]

    def _forget(self, whole: str) -> None:
        del self._missing[whole]
        self._failed.discard(whole)
        self._whole = {part: of for part, of in self._whole.items() if of != whole}


@dataclass(frozen=True, slots=True)
class _Seen:
    message_id: str
    link: int
    at: datetime


class Identities:
    """Gives each incoming message an id, the same when the SMSC gives it again on a new link.

    Only a message that came shortly before the link was lost (or was not stored) can come again.
    On one and the same link, the same words twice are two messages.
    """

    def __init__(self, unsure: timedelta, remember: timedelta) -> None:
        """`unsure`: how long before a loss an answer of ours may have got lost with it."""
        self._unsure, self._remember = unsure, remember
        self._link = 0
        self._recent: dict[str, _Seen] = {}

    def lost(self, now: datetime) -> None:
        """The link is gone: what came just now may come again."""
        self._link += 1
        self._recent = {
            words: seen for words, seen in self._recent.items() if now - seen.at <= self._unsure
        }

    def of(self, delivered: Delivered, text: str, now: datetime) -> str:
        """The id of this message."""
        words = hashlib.sha256(
            f"{delivered.source}\0{delivered.destination}\0{text}".encode()
        ).hexdigest()
        seen = self._recent.get(words)
        again = seen and seen.link != self._link and now - seen.at <= self._remember
        fresh_id = f"{words[:16]}-{now.timestamp():.6f}"
        message_id = seen.message_id if seen and again else fresh_id
        self._prune(now)
        self._recent[words] = _Seen(message_id, self._link, now)
        return message_id

    def _prune(self, now: datetime) -> None:
        self._recent = {
            words: seen
            for words, seen in self._recent.items()
            if now - seen.at <= (self._unsure if seen.link == self._link else self._remember)
        }
