"""Passwords that a guesser tries early are refused: NIST SP 800-63B, 3.1.1.2 (from memory)."""

import pytest

from bot.core.passwords import LONGEST, SHORTEST, password_fault

HOSPITAL = "Alder Creek Hospital"


def fault(password: str) -> str:
    return password_fault(password, "Ann Lee", HOSPITAL) or ""


@pytest.mark.parametrize(
    ("password", "says"),
    [
        ("maple kettle", f"at least {SHORTEST}"),
        ("x" * (LONGEST + 1), f"at most {LONGEST}"),
        ("passwordpassword", "mostly your name"),
        ("Ann Lee Ann Lee Ann Lee", "mostly your name"),
        ("Alder Creek Hospital 2027", "mostly your name"),
        ("aldercreekhospital!", "mostly your name"),
        ("nurse Ann Lee of the clinic", "mostly your name"),
        ("letmein123letmein123", "only slightly harder to guess"),
        ("iloveyou12345678", "commonly used password"),
        ("P@ssw0rd12345678", "commonly used password"),
        ("1234567890123456", "commonly used password"),
        ("qwertyuiopasdfgh", "commonly used password"),
        ("abcdefghijklmnopqrs", "abc"),
        ("aaaaaaaaaaaaaaaaaaaa", "aaa"),
        ("Summer2027Summer2027", "only slightly harder to guess"),
    ],
)
def test_what_is_guessed_early_is_refused_and_why_is_said(password: str, says: str):
    assert says in fault(password)
    assert fault(password).endswith(".")


@pytest.mark.parametrize(
    "password",
    [
        "maple kettle orbit dune",
        "four plain words suffice",
        "otra vez la mesa verde cojea",
        "xK9#mQ2$vL7@nR4!",
        "the hospital has a maple kettle in orbit",
        "orbit dune maple kettle " * 8,
    ],
)
def test_long_plain_words_are_good_and_no_kind_of_sign_is_asked_for(password: str):
    assert fault(password) == ""


def test_the_hospitals_name_counts_only_where_it_is_known():
    assert password_fault("Alder Creek Hospital xy", "Ann Lee", HOSPITAL)
    assert password_fault("maple kettle orbit dune", "Ann Lee") is None
