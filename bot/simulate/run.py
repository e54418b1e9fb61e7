"""Runs one simulation from its seed and says what became of it."""

import random  # noqa: TID251 - seeded: a run is repeated exactly from its seed
import resource
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from time import perf_counter

from bot.clock import system_clock
from bot.service.practice import Practice
from bot.simulate.audit import Findings, audit
from bot.simulate.clinic import Clinic
from bot.simulate.evidence import gather
from bot.simulate.faults import Trouble
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import App, build


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run: what was asked for, what was found, what it took."""

    patients: int
    days: int
    seed: int
    faults: tuple[str, ...]
    findings: Findings
    messages: int
    alarms: int
    escalations: int
    crashes: int
    busy: int
    stuck: int
    seconds: float
    peak_rss_mb: float
    events_hash: str

    def as_json(self) -> dict[str, object]:
        """Counts first, then examples of each finding."""
        found = asdict(self.findings)
        rest = {name: value for name, value in asdict(self).items() if name != "findings"}
        counts = {name: len(lines) for name, lines in found.items()}
        return {**counts, **rest, "examples": {n: lines[:5] for n, lines in found.items() if lines}}


def simulate(
    patients: int,
    days: int,
    seed: int,
    faults: Iterable[str] = (),
    practice: Practice | None = None,
) -> Outcome:
    """Play `days` with the faults and two days without, in a database that is thrown away.

    `practice` spares loading the content anew for each of many runs.
    """
    began, names = perf_counter(), tuple(sorted(faults))
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'run.db'}"
        clinic = _clinic(_app(url, practice), url, days, seed, names)
        clinic.run(patients)
        logs = gather(clinic)
        clinic.app.close()
    return Outcome(
        patients, days, seed, names, audit(logs),
        messages=len(logs.inbound) + len(logs.outbound),
        alarms=sum(each.alarm for each in logs.written),
        escalations=len(logs.cases),
        crashes=clinic.trouble.crashes,
        busy=clinic.trouble.busy,
        stuck=clinic.stuck,
        seconds=round(perf_counter() - began, 2),
        peak_rss_mb=round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
        events_hash=logs.fingerprint(),
    )  # fmt: skip


def _app(url: str, practice: Practice | None) -> App:
    if practice is None:
        return build(url)
    engine = open_engine(url)
    upgrade(engine)
    return App(replace(practice, engine=engine), system_clock)  # the clinic puts in its own clock


def _clinic(app: App, url: str, days: int, seed: int, names: tuple[str, ...]) -> Clinic:
    dice = random.Random(seed)  # noqa: S311 - nothing secret
    app.engine.dispose()
    return Clinic(app, url, dice, Trouble(frozenset(names), dice), days)
