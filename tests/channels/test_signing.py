"""Webhook signatures: the published algorithm, the window, rotation, and forgeries by the thousand."""

import hashlib
import hmac
import random
from datetime import UTC, datetime, timedelta

import pytest

from bot.channels.signing import Replays, Verdict, judge, known, signature

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
STAMP = str(int(NOW.timestamp()))
BODY = b'{"id": "1", "text": "yes"}'
LIVE = ("new-secret", "old-secret")


def test_the_algorithm_is_hmac_sha256_of_rfc_4231() -> None:
    # RFC 4231, test case 2: key "Jefe", data "what do ya want for nothing?".
    expected = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert (
        hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest() == expected
    )
    own = hmac.new(b"key", STAMP.encode() + b"." + BODY, "sha256").hexdigest()
    assert signature("key", STAMP, BODY) == own


@pytest.mark.parametrize("secret", LIVE)
def test_either_live_secret_is_good(secret: str) -> None:
    signed = signature(secret, STAMP, BODY)
    for form in (signed, signed.upper(), f"sha256={signed}"):
        assert judge(LIVE, STAMP, form, BODY, NOW) is Verdict.GOOD


@pytest.mark.parametrize(("seconds", "verdict"), [
    (300, Verdict.GOOD), (301, Verdict.STALE), (-300, Verdict.GOOD), (-301, Verdict.STALE),
])  # fmt: skip
def test_the_window_is_five_minutes_either_way(seconds: int, verdict: Verdict) -> None:
    signed = signature(LIVE[0], STAMP, BODY)
    assert judge(LIVE, STAMP, signed, BODY, NOW + timedelta(seconds=seconds)) is verdict


def test_without_a_live_secret_nothing_is_good() -> None:
    signed = signature("", STAMP, BODY)
    assert judge((), STAMP, signed, BODY, NOW) is Verdict.FORGED
    assert not known((), "")


@pytest.mark.slow
def test_100_000_forgeries_are_all_refused() -> None:
    rng = random.Random(7)
    good = signature(LIVE[0], STAMP, BODY)
    for turn in range(100_000):
        body, stamp, signed = BODY, STAMP, good
        kind = turn % 4
        if kind == 0:
            place = rng.randrange(len(body))
            body = (
                body[:place]
                + bytes(((body[place] + rng.randrange(1, 256)) % 256,))
                + body[place + 1 :]
            )
        elif kind == 1:
            stamp = str(int(STAMP) + rng.choice((-1, 1)) * rng.randrange(1, 300))
        elif kind == 2:
            place = rng.randrange(64)
            other = rng.choice([c for c in "0123456789abcdef" if c != signed[place]])
            signed = signed[:place] + other + signed[place + 1 :]
        else:
            signed = signature(f"secret-{rng.random()}", stamp, body)
        assert judge(LIVE, stamp, signed, body, NOW) is Verdict.FORGED


@pytest.mark.parametrize("stamp", ["", "now", "1e9", "-1", "１２３", "9" * 40, " 1"])
def test_an_odd_stamp_is_never_good(stamp: str) -> None:
    assert judge(LIVE, stamp, signature(LIVE[0], stamp, BODY), BODY, NOW) is not Verdict.GOOD


def test_a_signature_taken_once_is_known_for_as_long_as_it_could_be_used() -> None:
    replays = Replays()
    assert not replays.seen("a", NOW)
    replays.taken("a", NOW)
    assert replays.seen("a", NOW + timedelta(minutes=10))
    assert not replays.seen("a", NOW + timedelta(minutes=11))
