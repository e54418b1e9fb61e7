import pytest
from typer.testing import CliRunner

from bot.cli import app
from bot.store import accounts
from bot.store.engine import open_engine, reading

RUN = CliRunner()
GOOD = "maple kettle orbit dune\n"


@pytest.fixture
def url(tmp_path, monkeypatch):
    where = f"sqlite:///{tmp_path / 'new folder' / 'countdown.db'}"
    monkeypatch.setenv("COUNTDOWN_DATABASE", where)
    monkeypatch.chdir(tmp_path)
    return where


def names(url):
    with reading(open_engine(url)) as connection:
        return {account.name: sorted(account.roles) for account in accounts.accounts(connection)}


def test_the_first_account_is_made_on_a_store_that_did_not_exist(url):
    made = RUN.invoke(app, ["accounts", "add", "Ann Lee", "--role", "nurse"], input=GOOD)
    assert made.exit_code == 0
    assert "kettle" not in made.output
    assert names(url) == {"Ann Lee": ["nurse"]}


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
