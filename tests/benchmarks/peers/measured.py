"""How much one case took, told from the process that ran it to the one that prints."""

import json
import os
import subprocess
import sys
import sysconfig
import time
from contextlib import contextmanager
from pathlib import Path

import packages

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
TICKS = os.sysconf("SC_CLK_TCK")


def tell(**found):
    """What a case says at its end, on the last line of its output."""
    print(json.dumps(found))


@contextmanager
def timed(found, server_seconds=lambda: 0.0):
    """Add the seconds spent inside to `found`: CPU of this process and its server, and wall."""
    cpu, wall, served = time.process_time(), time.perf_counter(), server_seconds()
    yield
    found["cpu"] = found.get("cpu", 0.0) + time.process_time() - cpu + server_seconds() - served
    found["wall"] = found.get("wall", 0.0) + time.perf_counter() - wall


def run(module, given, *, peers=False):
    """Run one case in a process of its own; with `peers`, on the peers' packages first."""
    paths = [str(ROOT), str(HERE.parent)]
    if peers:
        paths += [*packages.places(), sysconfig.get_path("purelib")]
    done = subprocess.run(
        [sys.executable, HERE / f"{module}.py"],
        input=json.dumps(given), stdout=subprocess.PIPE, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def given():
    """What a case was given."""
    return json.load(sys.stdin)


def seconds_of_processes(root_id):
    """CPU seconds of a process, of those that it started, and of those of them that ended."""
    total = 0.0
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            told = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:  # it ended meanwhile
            continue
        if folder.name == str(root_id):
            total += sum(map(int, told[11:15])) / TICKS
        elif told[1] == str(root_id):
            total += sum(map(int, told[11:13])) / TICKS
    return total
