"""Copies of a process: one that dies is replaced, and all end when the first is told to."""

import os
import signal
import subprocess
import sys
import time

import pytest

from bot.cli.heart import is_running

SCRIPT = """
import os, signal, sys, time
from bot.cli import crew
crew._PAUSE = 0.1
def work():
    if sys.argv[1] == "fails":
        time.sleep(0.2)
        raise RuntimeError("Rosalind has a fever")
    os.write(1, b"began %d\\n" % os.getpid())
    time.sleep(600)
crew.Crew(2, work, float(sys.argv[2])).run()
print("all ended", flush=True)
"""


@pytest.fixture
def crew():
    begun = []

    def begin(how, patience=20):
        process = subprocess.Popen(
            [sys.executable, "-c", SCRIPT, how, str(patience)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        begun.append(process)
        return process

    yield begin
    for process in begun:
        if process.poll() is None:
            process.kill()


def began(process):
    word, number = process.stdout.readline().split()
    assert word == "began"
    return int(number)


def test_one_that_is_killed_is_replaced_and_all_end_together(crew):
    first = crew("sleeps")
    members = {began(first), began(first)}
    killed = members.pop()
    os.kill(killed, signal.SIGKILL)
    assert f"Process {killed} died" in first.stdout.readline()
    replaced = began(first)
    assert replaced not in members
    first.send_signal(signal.SIGTERM)
    said, _ = first.communicate(timeout=20)
    assert "all ended" in said
    for member in (*members, replaced):
        with pytest.raises(ProcessLookupError):
            os.kill(member, 0)


def test_a_failure_is_told_by_its_kind_and_begun_again_with_a_pause(crew):
    first = crew("fails")
    lines = [first.stdout.readline() for _ in range(6)]
    first.send_signal(signal.SIGTERM)
    first.communicate(timeout=20)
    assert sum("failed: RuntimeError" in line for line in lines) >= 2
    assert not any("Rosalind" in line for line in lines)


def test_who_does_not_end_in_time_is_ended(crew):
    first = crew("sleeps", 1)
    members = [began(first), began(first)]
    for member in members:
        os.kill(member, signal.SIGSTOP)  # hears nothing any more
    asked = time.monotonic()
    first.send_signal(signal.SIGTERM)
    said, _ = first.communicate(timeout=20)
    assert "all ended" in said
    assert time.monotonic() - asked < 15


def test_a_dead_process_that_nobody_asked_after_does_not_count_as_running():
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    assert is_running(child.pid)
    child.kill()
    end = time.monotonic() + 5
    while is_running(child.pid) and time.monotonic() < end:
        time.sleep(0.01)
    assert not is_running(child.pid)  # though it is still on the list of processes
    os.kill(child.pid, 0)
    child.wait()
    assert not is_running(child.pid)
