"""A code from the person's own phone: set up on the page, asked for at the next sign-in."""

import re

import pyotp
import pytest
from sqlalchemy import select, text

from bot.service import second_factor
from bot.store import accounts, second_factors
from bot.store.engine import reading
from bot.store.tables_log import AUDIT
from bot.store.tables_staff import RECOVERY_CODE


class Phone:
    """An authenticator that was given the key."""

    def __init__(self, ward, secret):
        self.ward, self.totp = ward, pyotp.TOTP(secret)

    def code(self) -> str:
        return self.totp.at(self.ward.now)

    def wrong(self) -> str:
        return f"{(int(self.code()) + 1) % 10**6:06}"


def key_on(page) -> str:
    return re.search(r"Key: <code[^>]*>([A-Z2-7]{32})</code>", page.text)[1]


@pytest.fixture
def set_up(ward):
    """Ann Lee with a second factor: (browser, phone, recovery codes)."""
    browser = ward.signed_in()
    browser.post("/account/code", "/account")
    phone = Phone(ward, key_on(browser.get("/account")))
    done = browser.post("/account/code/confirm", "/account", code=phone.code())
    codes = re.findall(r"<li><code>([a-z2-7-]{29})</code></li>", done.text)
    ward.wait(minutes=1)
    return browser, phone, codes


def status(ward, code: str = "", address: str = "10.0.0.7") -> int:
    browser = ward.browser(address)
    fields = {"name": "Ann Lee", "password": "four plain words suffice", "code": code}
    return browser.post("/sign-in", "/sign-in", **fields).status_code


def said(ward) -> list[str]:
    with reading(ward.app.engine) as connection:
        return list(connection.execute(select(AUDIT.c.what).order_by(AUDIT.c.id)).scalars())


def test_it_is_opt_in_and_begins_only_when_a_code_was_right(ward):
    browser = ward.signed_in()
    browser.post("/account/code", "/account")
    phone = Phone(ward, key_on(browser.get("/account")))
    assert "<svg" in browser.get("/account").text
    refused = browser.post("/account/code/confirm", "/account", code=phone.wrong())
    assert refused.status_code == 422
    assert "not right" in refused.text
    assert status(ward) == 303, "not confirmed: nobody is locked out by half a setting-up"


def test_the_password_alone_opens_no_more(ward, set_up):
    _, phone, codes = set_up
    assert len(codes) == 10
    assert status(ward) == 401
    assert status(ward, phone.wrong()) == 401
    assert status(ward, phone.code()) == 303
    assert ward.signed_in("Bo Marsh"), "others are asked for none"


def test_each_code_opens_once(ward, set_up):
    _, phone, _ = set_up
    assert status(ward, phone.code()) == 303
    assert status(ward, phone.code()) == 401
    ward.wait(seconds=30)
    assert status(ward, phone.code()) == 303


def test_each_recovery_code_opens_once_and_none_is_stored_or_shown_again(ward, set_up):
    browser, _, codes = set_up
    assert status(ward, codes[0].upper()) == 303
    assert status(ward, codes[0]) == 401
    assert status(ward, codes[1].replace("-", " ")) == 303
    page = browser.get("/account").text
    assert "8 recovery codes left" in page
    assert not any(code in page for code in codes)
    with reading(ward.app.engine) as connection:
        kept = connection.execute(select(RECOVERY_CODE.c.code_hash)).scalars().all()
    assert len(kept) == 8
    assert not any(code.replace("-", "").upper() in kept for code in codes)
    assert said(ward).count("recovery code used") == 2


def test_codes_are_guessed_as_slowly_as_passwords(ward, set_up):
    _, phone, _ = set_up
    tried = [status(ward, phone.wrong()) for _ in range(7)]
    assert 429 in tried
    assert status(ward, phone.code()) == 429, "the right one is not even tried meanwhile"
    ward.wait(minutes=16)
    assert status(ward, phone.code()) == 303


def test_a_wrong_code_is_answered_like_a_wrong_password(ward, set_up):
    _, phone, _ = set_up
    browser = ward.browser()
    answers = []
    for password, code in (("not the right one", phone.code()), ("four plain words suffice", "1")):
        fields = {"name": "Ann Lee", "password": password, "code": code}
        got = browser.post("/sign-in", "/sign-in", **fields)
        answers.append((got.status_code, re.sub(r'value="\w+"', "", got.text)))
    assert answers[0] == answers[1]


def test_it_is_taken_away_with_a_code_and_guessing_is_slowed(ward, set_up):
    browser, phone, codes = set_up
    for _ in range(5):
        refused = browser.post("/account/code/remove", "/account", code=phone.wrong())
        assert refused.status_code == 422
    held = browser.post("/account/code/remove", "/account", code=phone.code())
    assert "Too many wrong codes" in held.text
    ward.wait(seconds=40)
    browser.post("/account/code/remove", "/account", code=codes[3])
    assert status(ward) == 303
    assert "second factor taken away" in said(ward)


def test_a_key_that_counts_is_not_replaced_by_another(ward, set_up):
    browser, phone, _ = set_up
    browser.post("/account/code", "/account")
    assert status(ward) == 401
    assert status(ward, phone.code()) == 303


def test_it_is_forgotten_from_the_command_line_and_the_sessions_end(ward, set_up):
    browser, _, _ = set_up
    with reading(ward.app.engine) as connection:
        account, _ = accounts.account_named(connection, "Ann Lee")
    assert second_factor.forget(ward.app.engine, account, ward.now)
    assert not second_factor.forget(ward.app.engine, account, ward.now)
    assert browser.get("/account").status_code == 303
    assert status(ward) == 303
    with reading(ward.app.engine) as connection:
        assert second_factors.factor_of(connection, account.id) is None
        assert connection.execute(text("SELECT count(*) FROM recovery_code")).scalar() == 0
