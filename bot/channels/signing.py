"""Signatures of incoming webhooks: who sent it, that nobody altered it, and that it is fresh. Pure.

HMAC-SHA256 over the time stamp, a full stop and the raw body, in hexadecimal. The stamp is seconds
since 1970 in UTC. Two secrets may be live at once, so that a secret can be changed without a gap.
"""

import hashlib
import hmac
from collections import OrderedDict
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from enum import StrEnum

WINDOW = timedelta(minutes=5)  # for clocks that differ and slow networks; our choice


class Verdict(StrEnum):
    """What a signature turned out to be."""

    GOOD = "good"
    UNSIGNED = "unsigned"
    STALE = "stale"
    FORGED = "forged"


def signature(secret: str, stamp: str, body: bytes) -> str:
    """The signature that a sender who knows `secret` puts on `body` at `stamp`."""
    return hmac.new(secret.encode(), stamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def judge(secrets: Sequence[str], stamp: str, signed: str, body: bytes, now: datetime) -> Verdict:
    """Decides whether a webhook is genuine and fresh. Compares in constant time."""
    if not stamp or not signed:
        return Verdict.UNSIGNED
    given = signed.removeprefix("sha256=").lower().encode()
    genuine = False
    for secret in secrets:  # every secret is tried, so that the time taken tells nothing
        genuine |= hmac.compare_digest(signature(secret, stamp, body).encode(), given)
    if not genuine:
        return Verdict.FORGED
    sent = _moment(stamp)
    fresh = sent is not None and abs(now - sent) <= WINDOW
    return Verdict.GOOD if fresh else Verdict.STALE


def known(secrets: Sequence[str], given: str) -> bool:
    """True if `given` is one of the live secrets; compared in constant time, all of them."""
    found = False
    for secret in secrets:
        found |= hmac.compare_digest(secret.encode(), given.encode())
    return found


def _moment(stamp: str) -> datetime | None:
    if not (stamp.isascii() and stamp.isdigit() and len(stamp) <= 11):
        return None
    return datetime.fromtimestamp(int(stamp), UTC)


class Replays:
    """Signatures that were taken, for as long as their stamp would still be fresh.

    One process keeps its own; behind several, the unique message id in the store is the backstop.
    """

    def __init__(self) -> None:
        self._taken: OrderedDict[str, datetime] = OrderedDict()

    def seen(self, signed: str, now: datetime) -> bool:
        """True if a webhook with this very signature was taken before."""
        while self._taken and now - next(iter(self._taken.values())) > 2 * WINDOW:
            self._taken.popitem(last=False)
        return signed in self._taken

    def taken(self, signed: str, now: datetime) -> None:
        """Notes a webhook that is now stored; one that failed may be sent again as it is."""
        self._taken[signed] = now
