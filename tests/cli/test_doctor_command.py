"""`countdown doctor`: what IT reads, and the exit status."""

from functools import lru_cache
from pathlib import Path

import pytest
from typer.testing import CliRunner

from bot.channels.doctor_checks import Health
from bot.cli import app
from bot.cli.doctor import database
from bot.clock import system_clock
from bot.config_sections import Settings
from bot.content.check import faults_in
from bot.service import workers
from bot.store.engine import open_engine
from bot.store.schema import upgrade

RUN = CliRunner(env={"COLUMNS": "200"})
JUDGED = lru_cache(faults_in)  # the same shipped content each time: judged in earnest, and once


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COUNTDOWN_DATABASE", "sqlite://")
    monkeypatch.setattr("bot.cli.doctor.faults_in", JUDGED)


def test_without_a_channel_it_says_so_and_fails() -> None:
    result = RUN.invoke(app, ["doctor"])
    assert result.exit_code == 1
    assert "no patient can be reached" in result.output
    assert "Add a section [telegram] or [sms]" in result.output
    assert "sqlite opens" in result.output


def test_every_fault_of_the_settings_is_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COUNTDOWN_TELEGRAM__TOKEN", "canary")
    monkeypatch.setenv("COUNTDOWN_PORT", "0")
    result = RUN.invoke(app, ["doctor"])
    assert result.exit_code == 1
    assert "telegram.token" in result.output
    assert "port" in result.output
    assert "canary" not in result.output


def test_a_database_that_does_not_open_is_named_without_its_password(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COUNTDOWN_DATABASE", "sqlite:////nowhere/canary/x.db")
    result = RUN.invoke(app, ["doctor"])
    assert result.exit_code == 1
    assert "sqlite does not open" in result.output
    assert "canary" not in result.output


def test_it_says_which_roles_living_processes_hold(tmp_path, monkeypatch) -> None:
    url = f"sqlite:///{tmp_path}/record.db"
    monkeypatch.setenv("COUNTDOWN_DATABASE", url)
    engine = open_engine(url)
    upgrade(engine)
    assert "none is running" in RUN.invoke(app, ["doctor"]).output
    for process in (1, 2):
        workers.begin(engine, "a host", process, ("scheduler", "relay"), system_clock())
    told = RUN.invoke(app, ["doctor"]).output
    assert "2 scheduler, 2 relay" in told
    assert "countdown serve --role receiver --role web" in told
    workers.begin(engine, "a host", 3, ("receiver", "web"), system_clock())
    assert "2 scheduler, 2 relay, 1 receiver, 1 web" in RUN.invoke(app, ["doctor"]).output


def test_a_database_of_another_version_is_told_and_what_to_do(tmp_path) -> None:
    url = f"sqlite:///{tmp_path}/record.db"
    settings = Settings(database=url)
    assert "it is empty" in database(settings).says
    upgrade(open_engine(url), "0008")
    told = database(settings)
    assert told.health is Health.DOUBTFUL
    assert "tables of another version (0008)" in told.says
    assert "Back it up first" in told.mend
    upgrade(open_engine(url))
    assert database(settings).health is Health.WELL
