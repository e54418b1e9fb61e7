import pytest
from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy import select
from typer.testing import CliRunner

from bot.cli import app
from bot.clock import system_clock
from bot.service.signing_in import Passwords
from bot.store import accounts
from bot.store.engine import open_engine, reading, writing
from bot.store.tables_log import AUDIT

RUN = CliRunner()
GOOD = "maple kettle orbit dune\n"
QUICK = Passwords(Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1))


@pytest.fixture
def url(tmp_path, monkeypatch):
    where = f"sqlite:///{tmp_path / 'new folder' / 'countdown.db'}"
    monkeypatch.setenv("COUNTDOWN_DATABASE", where)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("bot.cli.accounts.Passwords", lambda: QUICK)
    return where


def names(url):
    with reading(open_engine(url)) as connection:
        return {account.name: sorted(account.roles) for account in accounts.accounts(connection)}


def test_the_first_account_is_made_on_a_store_that_did_not_exist(url):
    made = RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    assert made.exit_code == 0
    assert "kettle" not in made.output
    assert names(url) == {"Ann Lee": ["nurse"]}


def test_the_password_is_stored_as_a_costly_hash(url, monkeypatch):
    monkeypatch.setattr("bot.cli.accounts.Passwords", Passwords)
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    with reading(open_engine(url)) as connection:
        _, stored = accounts.account_named(connection, "Ann Lee")
    assert stored.startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_a_made_password_is_printed_once_and_is_long(url):
    made = RUN.invoke(
        app, ["accounts", "add", "Ada", "--role", "nurse", "--role", "administrator", "--make"]
    )
    assert len(made.output.rsplit(": ", 1)[1].strip()) >= 20
    assert names(url) == {"Ada": ["administrator", "nurse"]}


@pytest.mark.parametrize("password", ["short\n", "\n", "", "aaaaaaaaaaaaaaaaaaaa\n"])
def test_there_is_no_weak_and_no_default_password(url, password):
    made = RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=password)
    assert made.exit_code == 1
    assert names(url) == {}


def test_an_account_needs_a_role(url):
    assert RUN.invoke(app, ["accounts", "add", "Ann Lee"], input=GOOD).exit_code == 2


def test_a_name_is_taken_however_it_is_written(url):
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    again = RUN.invoke(app, ["accounts", "add", "ANN  lee", "--role", "nurse"], input=GOOD)
    assert again.exit_code == 1
    assert "already" in again.output


def test_who_left_signs_in_no_more(url):
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    assert RUN.invoke(app, ["accounts", "close", "ann lee"]).exit_code == 0
    assert names(url) == {}
    assert RUN.invoke(app, ["accounts", "close", "ann lee"]).exit_code == 1
    assert "Nobody yet" in RUN.invoke(app, ["accounts", "list"]).output


def test_other_roles_are_given_written_down_and_need_a_new_session(url):
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    engine, now = open_engine(url), system_clock()
    with writing(engine) as connection:
        account, _ = accounts.account_named(connection, "ann lee")
        accounts.start_session(connection, "a token's hash", account.id, "192.0.2.1", now)
    roles = ["--role", "educator", "--role", "administrator"]
    assert RUN.invoke(app, ["accounts", "roles", "ann lee", *roles]).exit_code == 0
    assert names(url) == {"Ann Lee": ["administrator", "educator"]}
    with reading(engine) as connection:
        assert accounts.session_of(connection, "a token's hash") is None
        noted = connection.execute(select(AUDIT.c.detail).where(AUDIT.c.what == "roles changed"))
        assert noted.scalar_one()["before"] == ["nurse"]


def test_roles_of_nobody_and_no_roles_are_refused(url):
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    assert RUN.invoke(app, ["accounts", "roles", "Bea Lee", "--role", "nurse"]).exit_code == 1
    assert RUN.invoke(app, ["accounts", "roles", "Ann Lee"]).exit_code == 2
    assert names(url) == {"Ann Lee": ["nurse"]}


def test_a_code_that_was_never_set_up_cannot_be_forgotten(url):
    RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    refused = RUN.invoke(app, ["accounts", "forget-code", "Ann Lee"])
    assert refused.exit_code == 1
    assert "had set up no code" in refused.output
