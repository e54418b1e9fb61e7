from datetime import timedelta

import pytest
from sqlalchemy import select

from bot.core.staff import wait_after
from bot.store.engine import reading
from bot.store.tables_log import AUDIT
from bot.store.tables_staff import ACCOUNT, WEB_SESSION


def test_the_right_password_opens_the_first_page(ward):
    browser = ward.browser()
    answer = browser.sign_in("ann  LEE")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "Needs you" in browser.get("/").text


def test_an_unknown_name_and_a_wrong_password_get_the_same_answer(ward):
    def answer(name):
        browser = ward.browser()
        token = browser.token()
        got = browser.post("/sign-in", token=token, name=name, password="not the right one")
        return got.status_code, got.text.replace(token, "")

    assert answer("Ann Lee") == answer("Nobody Known")


def test_the_password_is_stored_as_argon2id_and_the_session_by_its_hash(ward):
    browser = ward.signed_in()
    secret = browser.http.cookies["countdown"]
    with reading(ward.app.engine) as connection:
        passwords = connection.execute(select(ACCOUNT.c.password)).scalars().all()
        sessions = connection.execute(select(WEB_SESSION.c.token_hash)).scalars().all()
    assert all(stored.startswith("$argon2id$") for stored in passwords)
    assert secret not in str(sessions)
    assert len(secret) >= 40


def test_the_default_parameters_are_the_ones_written_down():
    from bot.service.signing_in import Passwords

    assert "m=65536,t=3,p=4" in Passwords().hash("x" * 20)


def test_signing_in_gives_a_new_secret(ward):
    browser = ward.browser()
    browser.get("/sign-in")
    before = browser.http.cookies["countdown"]
    browser.sign_in("Ann Lee")
    assert browser.http.cookies["countdown"] != before


def test_a_session_ends_after_fifteen_minutes_without_a_click(ward):
    browser = ward.signed_in()
    ward.wait(minutes=14)
    assert browser.get("/").status_code == 200
    ward.wait(minutes=14)
    assert browser.get("/").status_code == 200
    ward.wait(minutes=15)
    assert browser.get("/").headers["location"].startswith("/sign-in")


def test_a_session_ends_after_twelve_hours_whatever_is_clicked(ward):
    browser = ward.signed_in()
    for _ in range(71):
        ward.wait(minutes=10)
        assert browser.get("/account").status_code == 200
    ward.wait(minutes=10)
    assert browser.get("/account").status_code == 303


def test_staying_signed_in_starts_the_quarter_of_an_hour_again(ward):
    browser = ward.signed_in()
    ward.wait(minutes=14)
    assert browser.post("/session/stay").status_code == 303
    ward.wait(minutes=14)
    assert browser.get("/").status_code == 200


def test_signing_out_ends_the_session_on_the_server(ward):
    browser = ward.signed_in()
    secret = browser.http.cookies["countdown"]
    assert browser.post("/sign-out").headers["location"] == "/sign-in?why=out"
    stolen = ward.browser()
    stolen.http.cookies.set("countdown", secret)
    assert stolen.get("/").status_code == 303


def test_waits_double_from_the_fifth_failure_up_to_a_quarter_of_an_hour():
    waits = [wait_after(n).total_seconds() for n in range(1, 16)]
    assert waits == [0, 0, 0, 0, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900]


@pytest.mark.slow
def test_an_hour_of_guessing_gets_at_most_twenty_tries(ward):
    browser = ward.browser()
    token, tried, end = browser.token(), 0, ward.now + timedelta(hours=1)
    while ward.now < end:
        got = browser.post("/sign-in", token=token, name="Ann Lee", password=f"guess {tried}")
        tried += got.status_code == 401
        ward.wait(seconds=1 if ward.now < end - timedelta(minutes=50) else 60)
    assert 5 < tried <= 20


def test_guessing_from_many_addresses_is_slowed_by_the_account(ward):
    codes = []
    for number in range(8):
        browser = ward.browser(f"10.9.9.{number}")
        codes.append(browser.sign_in("Ann Lee", "wrong").status_code)
    assert codes[:5] == [401] * 5
    assert codes[5:] == [429] * 3


def test_guessing_at_many_accounts_is_slowed_by_the_address(ward):
    browser = ward.browser()
    codes = [browser.sign_in(f"Person {n}", "wrong").status_code for n in range(8)]
    assert codes[5:] == [429] * 3


def test_a_stranger_who_guesses_does_not_lock_the_nurse_out_where_she_works(ward):
    ward.signed_in("Ann Lee", "10.0.0.7")
    stranger = ward.browser("10.66.0.1")
    for _ in range(6):
        stranger.sign_in("Ann Lee", "wrong")
    assert stranger.sign_in("Ann Lee").status_code == 429
    assert ward.browser("10.0.0.7").sign_in("Ann Lee").status_code == 303


def test_the_right_password_is_not_even_tried_while_waiting(ward):
    browser = ward.browser("10.66.0.1")
    for _ in range(5):
        browser.sign_in("Ann Lee", "wrong")
    assert browser.sign_in("Ann Lee").status_code == 429
    ward.wait(seconds=3)
    assert browser.sign_in("Ann Lee").status_code == 303


@pytest.mark.parametrize(
    "target", ["//evil.example.org", "/\\evil.example.org", "https://evil.example.org"]
)
def test_signing_in_never_leads_to_another_host(ward, target):
    browser = ward.browser()
    answer = browser.post(
        "/sign-in", name="Ann Lee", password="four plain words suffice", next=target
    )
    assert answer.headers["location"] == "/"


def test_signing_in_leads_back_to_the_page_that_was_wanted(ward):
    browser = ward.browser()
    there = browser.get("/?x=1").headers["location"]
    assert there == "/sign-in?next=%2F%3Fx%3D1"


def test_signing_in_and_failing_are_in_the_audit_log_without_the_name_that_was_typed(ward):
    browser = ward.browser()
    browser.sign_in("Secret Typed", "wrong")
    browser.sign_in("Ann Lee")
    with reading(ward.app.engine) as connection:
        rows = connection.execute(select(AUDIT.c.who, AUDIT.c.what, AUDIT.c.detail)).all()
    assert [row.what for row in rows if row.what.startswith("sign")] == [
        "sign-in failed",
        "signed in",
    ]
    assert "Secret Typed" not in str(rows)
