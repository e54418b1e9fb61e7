"""`countdown doctor`: what IT reads, and the exit status."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from bot.cli import app

RUN = CliRunner(env={"COLUMNS": "200"})


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COUNTDOWN_DATABASE", "sqlite://")


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
