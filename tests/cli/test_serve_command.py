"""`countdown serve` as its own process: it starts on an empty store, answers, and ends cleanly."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from bot.cli import app as commands
from bot.cli.loops import LONGEST_SLEEP, STALLED_AFTER, Loop, loops_of, stalled

NOW = datetime(2027, 3, 1, tzinfo=UTC)


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


@pytest.mark.slow
def test_it_serves_an_empty_store_and_ends_cleanly_when_told(tmp_path):
    port = free_port()
    environ = {**os.environ, "COUNTDOWN_DATABASE": f"sqlite:///{tmp_path}/data/countdown.db"}
    with subprocess.Popen(
        [sys.executable, "-m", "bot", "serve", "--port", str(port)],
        env={**environ, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        health = None
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz") as answer:
                    health = json.load(answer)
                break
            except OSError:
                time.sleep(0.2)
        process.send_signal(signal.SIGTERM)
        said, _ = process.communicate(timeout=60)
    fine = {"channels_in_trouble": [], "stalled": [], "standing_still": [], "held_by_nobody": []}
    assert health == {"status": "ok", **fine}
    assert f"http://127.0.0.1:{port}/sign-in" in said
    assert "countdown accounts add" in said
    assert said.rstrip().endswith("Ended.")
    assert process.returncode == 0


class Service:
    """The little that a loop asks of the service."""

    def __init__(self):
        self.worked, self.fail = 0, False

    def clock(self):
        return NOW

    def next_moment(self):
        return NOW

    def tick(self):
        self.worked += 1
        if self.fail:
            raise RuntimeError("Rosalind has a fever")

    relay = tick
    engine = None


def wait_for(test):
    end = time.monotonic() + 10
    while not test() and time.monotonic() < end:
        time.sleep(0.01)
    assert test()


def test_a_loop_works_again_and_again_until_it_is_stopped():
    service = Service()
    loop = Loop("scheduler", service.clock, service.tick, service.next_moment)
    loop.start()
    wait_for(lambda: service.worked >= 3)
    assert loop.stop(5)
    done = service.worked
    time.sleep(0.2)
    assert service.worked == done


def test_a_failure_is_logged_without_its_words_and_the_loop_goes_on(monkeypatch, caplog):
    monkeypatch.setattr("bot.cli.loops._AFTER_FAILURE", timedelta(milliseconds=1))
    service = Service()
    service.fail = True
    loop = Loop("relay", service.clock, service.relay, service.next_moment)
    loop.start()
    wait_for(lambda: service.worked >= 3)
    loop.stop(5)
    assert "RuntimeError" in caplog.text
    assert "Rosalind" not in caplog.text


def test_each_role_has_its_own_loop():
    service = Service()

    def names(*roles):
        return [loop.name for loop in loops_of(service, frozenset(roles))]

    assert names("scheduler", "relay", "web") == ["scheduler", "relay"]
    assert names("relay") == ["relay"]
    assert names("web") == []


def test_a_loop_that_has_not_come_round_is_told_to_the_health_check():
    service = Service()
    loop = Loop("relay", service.clock, service.relay, service.next_moment)
    assert stalled([loop], lambda: NOW + STALLED_AFTER)() == []
    assert stalled([loop], lambda: NOW + STALLED_AFTER + LONGEST_SLEEP)() == ["relay"]


def test_several_processes_are_refused_on_sqlite_and_on_one_smpp_link(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = CliRunner().invoke(commands, ["serve", "--processes", "2"])
    assert told.exit_code == 2
    assert "SQLite serves one process" in told.output
    (tmp_path / "countdown.toml").write_text(
        'database = "postgresql+psycopg://nobody@127.0.0.1:1/none"\n[sms]\nkind = "smpp"\n'
        'host = "127.0.0.1"\nsystem_id = "a"\npassword = "b"\nsender = "12345"\n'
    )
    told = CliRunner().invoke(commands, ["serve", "--processes", "2"])
    assert told.exit_code == 2
    assert "An SMPP link belongs to one process" in told.output


def test_a_call_from_the_database_ends_the_sleep():
    service = Service()
    nothing = Loop("relay", service.clock, service.tick, lambda: None)  # would sleep two seconds
    nothing.start()
    wait_for(lambda: service.worked == 1)
    for times in (2, 3, 4):
        nothing.wake()
        began = time.monotonic()
        wait_for(lambda times=times: service.worked >= times)
        assert time.monotonic() - began < LONGEST_SLEEP.total_seconds() / 2
    nothing.stop(5)
