"""Codes from a phone, against the standards' own values."""

import base64
import hashlib
from datetime import UTC, datetime
from urllib.parse import parse_qs, unquote, urlsplit

import pyotp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.core.second_factor import (
    HOW_MANY,
    STEP,
    link_of,
    recovery_codes,
    recovery_hash,
    secret_of,
    step_of,
)

KEY = base64.b32encode(b"12345678901234567890").decode()  # RFC 6238, appendix B, SHA-1
NOW = datetime(2027, 3, 8, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("seconds", "code"),
    [  # RFC 6238, appendix B; of the eight digits there the last six, RFC 4226, 5.3
        (59, "287082"),
        (1111111109, "081804"),
        (1111111111, "050471"),
        (1234567890, "005924"),
        (2000000000, "279037"),
        (20000000000, "353130"),
    ],
)
def test_the_codes_are_those_of_the_standards_table(seconds: int, code: str):
    now = datetime.fromtimestamp(seconds, UTC)
    assert step_of(KEY, code, now, -1) == seconds // 30
    assert step_of(KEY, f"{code[:3]} {code[3:]}", now, -1) == seconds // 30
    assert step_of(KEY, f"{(int(code) + 1) % 10**6:06}", now, -1) is None


@pytest.mark.parametrize(
    ("count", "code"),
    list(  # RFC 4226, appendix D
        enumerate(
            [
                "755224",
                "287082",
                "359152",
                "969429",
                "338314",
                "254676",
                "287922",
                "162583",
                "399871",
                "520489",
            ]
        )
    ),
)
def test_the_codes_are_those_of_the_counters_table(count: int, code: str):
    assert step_of(KEY, code, datetime.fromtimestamp(count * STEP, UTC), -1) == count


def test_a_phones_clock_may_be_one_step_off_and_no_more():
    secret = secret_of("chance")
    present = int(NOW.timestamp()) // STEP
    taken = [
        step_of(secret, pyotp.TOTP(secret).generate_otp(present + off), NOW, -1) is not None
        for off in (-2, -1, 0, 1, 2)
    ]
    assert taken == [False, True, True, True, False]


def test_a_code_opens_once_and_no_older_one_opens_after_it():
    secret = secret_of("chance")
    present = int(NOW.timestamp()) // STEP
    code = pyotp.TOTP(secret).generate_otp(present)
    assert step_of(secret, code, NOW, present - 1) == present
    assert step_of(secret, code, NOW, present) is None
    assert step_of(secret, pyotp.TOTP(secret).generate_otp(present - 1), NOW, present) is None


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "abcdef", "２８７０８２", "287082\x00"])
def test_what_is_no_code_opens_nothing(typed: str):
    assert step_of(KEY, typed, datetime.fromtimestamp(59, UTC), -1) is None


def test_the_link_says_whose_it_is_and_the_secret():
    link = urlsplit(link_of(secret_of("chance"), "Ann Lee"))
    assert (link.scheme, link.netloc) == ("otpauth", "totp")
    assert unquote(link.path) == "/Surgery countdown:Ann Lee"
    assert parse_qs(link.query)["secret"] == [secret_of("chance")]


@settings(max_examples=20)
@given(st.text(min_size=1), st.text(min_size=1))
def test_secrets_and_codes_follow_from_chance_alone_and_are_long(one: str, other: str):
    assert len(base64.b32decode(secret_of(one))) == 20
    codes = recovery_codes(one)
    assert len(set(codes)) == HOW_MANY
    assert (codes == recovery_codes(other)) == (one == other)
    assert (secret_of(one) == secret_of(other)) == (one == other)


def test_a_recovery_code_is_known_however_it_is_typed():
    code = recovery_codes("chance")[0]
    kept = hashlib.sha256(code.replace("-", "").upper().encode()).hexdigest()
    for typed in (code, code.upper(), code.replace("-", " "), f" {code.replace('-', '')} "):
        assert recovery_hash(typed) == kept
    assert recovery_hash(code[:-1]) is None
    assert recovery_hash("123456") is None
