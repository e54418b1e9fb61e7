"""What one due prompt and one reply cost as the number of patients grows, and the memory.

    .venv/bin/python tests/benchmarks/bench_growth.py [patients ...]     (1000 10000 100000)

Each size has a store of its own (see copied_patients.py; about 34 kB a patient on disk, in the
folder that TMPDIR names). 400 patients, spread evenly over the store, have a prompt due at the same
moment, twice a day apart; it is claimed, worded, sent and stored as sent; then each of them answers.
The rest are on their way or over. A process of its own does this, so its peak of memory is its own.

Last: what a due prompt costs when many more are due at one moment.
"""

import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import copied_patients
from copied_patients import DUE

from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.wiring import build

SAMPLE = 400
ANSWERS = ("2", "yes")  # vaccines: not needed; the list of medicines: done
SIZES = (1_000, 10_000, 100_000)
AT_ONCE = (400, 1_600, 6_400)
CROWD = 10_000
IDLE = 20  # rounds of the scheduler and the relay in which nothing is due
MOST_GROWTH = 1.5
KINDS = ("due", "reply", "idle")


class Spent:
    """CPU and wall seconds of the deeds that it timed."""

    def __init__(self):
        self.cpu = self.wall = 0.0
        self.count = 0

    def time(self, deed):
        cpu, wall = time.process_time(), time.perf_counter()
        done = deed()
        self.cpu += time.process_time() - cpu
        self.wall += time.perf_counter() - wall
        return done

    @property
    def each(self):
        """Milliseconds for one: of CPU, on the wall."""
        return 1000 * self.cpu / self.count, 1000 * self.wall / self.count


def measure(path, phones):
    """Two rounds of due prompts and answers of these phones; in the process that this is."""
    now = [DUE]
    due, replies, start = Spent(), Spent(), Spent()
    app = start.time(lambda: build(f"sqlite:///{path}", clock=lambda: now[0]))
    app.connect(RecordingChannel(app.clock, "sms"))
    for number, text in enumerate(ANSWERS):
        now[0] = DUE + timedelta(days=number)
        due.count += due.time(app.run_due).prompts
        for place, phone in enumerate(phones):
            now[0] += timedelta(milliseconds=20)
            said = Incoming("sms", phone, text, f"g{number}.{place}", now[0])
            replies.time(lambda said=said: app.handle(said))
            replies.count += 1
        app.relay()
    if due.count != len(ANSWERS) * len(phones):
        raise RuntimeError(f"{due.count} prompts were due, not those of {len(phones)} patients")
    idle = Spent()
    for _ in range(IDLE):
        idle.time(app.run_due)
    idle.count = IDLE
    return {
        "due": due.each, "reply": replies.each, "idle": idle.each, "start": start.cpu,
        "peak": peak_of_memory(),
    }  # fmt: skip


def measure_due(path, phones):
    """One round of due prompts only."""
    app = build(f"sqlite:///{path}", clock=lambda: DUE)
    app.connect(RecordingChannel(app.clock, "sms"))
    due = Spent()
    due.count = due.time(app.run_due).prompts
    if due.count != len(phones):
        raise RuntimeError(f"{due.count} prompts were due, not those of {len(phones)} patients")
    return {"due": due.each, "peak": peak_of_memory()}


def peak_of_memory():
    """Of this process, in MB; not that of the one that started it, as getrusage would give."""
    told = Path("/proc/self/status").read_text()
    return int(told.split("VmHWM:")[1].split()[0]) / 1000


def in_own_process(path, phones, what):
    """Measure in a process that has done nothing else."""
    told = json.dumps({"path": str(path), "phones": phones, "what": what})
    done = subprocess.run(
        [sys.executable, __file__, "--measure"],
        input=told, stdout=subprocess.PIPE, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def one_size(folder, patients, sample=SAMPLE, what="measure"):
    path = Path(folder) / f"{patients}-{sample}.db"
    began = time.perf_counter()
    phones = copied_patients.fill(path, patients, sample)
    filled = time.perf_counter() - began
    found = in_own_process(path, phones, what)
    size = path.stat().st_size / 1e6
    with closing(sqlite3.connect(path)) as store:
        prompts = store.execute("SELECT count(*) FROM planned_prompt").fetchone()[0]
    for each in Path(folder).glob(f"{path.name}*"):
        each.unlink()
    return {**found, "patients": patients, "prompts": prompts, "MB": size, "filled": filled}


HEAD = (
    f"{'patients':>10}{'prompts':>12}{'store':>10}{'filled in':>11}{'peak of memory':>16}"
    f"{'due prompt':>22}{'reply':>22}{'nothing due':>22}\n{'':59}"
    + f"{'CPU ms':>14}{'wall ms':>8}"
    * 3
)


def line(found):
    times = "".join(f"{cpu:>14.2f}{wall:>8.2f}" for cpu, wall in (found[kind] for kind in KINDS))
    return (
        f"{found['patients']:>10,}{found['prompts']:>12,}{found['MB']:>7,.0f} MB"
        f"{found['filled']:>9.0f} s{found['peak']:>13.0f} MB{times}{found['start']:>8.1f}"
    )


def grown(all_found):
    """Say how much a due prompt's and a reply's time grew from the smallest to the largest."""
    first, last = all_found[0], all_found[-1]
    for kind in KINDS:
        cpu, wall = (b / a for a, b in zip(first[kind], last[kind], strict=True))
        kept = "less" if cpu < MOST_GROWTH else "NOT less"
        print(
            f"{kind}: x {cpu:.2f} by CPU, x {wall:.2f} on the wall: CPU {kept} than {MOST_GROWTH}"
        )
    print(f"peak of memory: {last['peak'] - first['peak']:+.0f} MB")


def all_sizes(folder, sizes):
    print(f"{SAMPLE} due prompts and replies, twice, at each size\n{HEAD}")
    found = []
    for patients in sizes:
        found.append(one_size(folder, patients))
        print(line(found[-1]), flush=True)
    grown(found)


def at_once(folder):
    print(f"\n{CROWD:,} patients, more of them due at one moment")
    print(f"{'due at once':>12}{'CPU ms each':>14}{'wall ms each':>14}{'peak of memory':>16}")
    for sample in AT_ONCE:
        found = one_size(folder, CROWD, sample, "measure_due")
        cpu, wall = found["due"]
        print(f"{sample:>12,}{cpu:>14.2f}{wall:>14.2f}{found['peak']:>13.0f} MB", flush=True)


def main(sizes):
    with tempfile.TemporaryDirectory() as folder:
        all_sizes(folder, sizes)
        at_once(folder)


if __name__ == "__main__":
    if sys.argv[1:] == ["--measure"]:
        told = json.load(sys.stdin)
        json.dump(globals()[told["what"]](told["path"], told["phones"]), sys.stdout)
    else:
        main([int(each) for each in sys.argv[1:]] or SIZES)
