"""Runs one simulation from its seed and says what became of it."""

import random  # noqa: TID251 - seeded: a run is repeated exactly from its seed
import resource
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from time import perf_counter, process_time

from bot.clock import system_clock
from bot.service.practice import Practice
from bot.simulate.audit import audit
from bot.simulate.clinic import QUIET_DAYS, Clinic
from bot.simulate.evidence import Evidence, gather
from bot.simulate.faults import Trouble
from bot.simulate.findings import LIVENESS, SAFETY, Check, Findings
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import App, build

WORSE = 3.0  # times as many faults in a run about safety


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run: what was asked for, what was found, what it took."""

    patients: int
    days: int
    seed: int
    faults: tuple[str, ...]
    check: Check
    findings: Findings
    messages: int
    alarms: int
    escalations: int
    askings: int  # of the timetable, that had to be on record
    crashes: int
    busy: int
    seconds: float
    cpu_seconds: float
    peak_rss_mb: float
    events_hash: str

    def as_json(self) -> dict[str, object]:
        """Counts by kind, then safety and liveness apart, then examples of each finding."""
        found = dict(self.findings.by_kind())
        rest = {name: value for name, value in asdict(self).items() if name != "findings"}
        counts = {name: len(lines) for name, lines in found.items()}
        examples = {name: lines[:5] for name, lines in found.items() if lines}
        return {
            **counts, **rest, "safety": self.safety(), "liveness": self.liveness(),
            "examples": examples,
        }  # fmt: skip

    def safety(self) -> dict[str, int] | None:
        """How often a wrong thing happened, by kind; None: not looked at."""
        return None if self.check is Check.LIVENESS else self._counts(SAFETY)

    def liveness(self) -> dict[str, int] | None:
        """How much did not come about in time, by kind; None: not looked at."""
        return None if self.check is Check.SAFETY else self._counts(LIVENESS)

    def _counts(self, kinds: Iterable[str]) -> dict[str, int]:
        return {name: len(getattr(self.findings, name)) for name in kinds}


def simulate(
    patients: int,
    days: int,
    seed: int,
    faults: Iterable[str] = (),
    practice: Practice | None = None,
    check: Check = Check.BOTH,
) -> Outcome:
    """Play `days` with the faults and two days without, in a database that is thrown away.

    A safety run has three times as many faults, and they never end; nothing need come right in it.
    `practice` spares loading the content anew for each of many runs.
    """
    began, spent, names = perf_counter(), process_time(), tuple(sorted(faults))
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'run.db'}"
        clinic = _clinic(_app(url, practice), url, days, seed, names, check)
        clinic.trouble.most += 50 * patients
        clinic.run(patients)
        logs = gather(clinic)
        clinic.app.close()
    audited = audit(logs, check)
    return Outcome(
        patients, days, seed, names, check, audited.findings, *_sizes(logs), audited.askings,
        clinic.trouble.crashes, clinic.trouble.busy,
        seconds=round(perf_counter() - began, 2),
        cpu_seconds=round(process_time() - spent, 2),
        peak_rss_mb=round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
        events_hash=logs.fingerprint(),
    )  # fmt: skip


def _sizes(logs: Evidence) -> tuple[int, int, int]:
    """Messages, alarms and escalations."""
    messages = len(logs.inbound) + len(logs.outbound)
    return messages, sum(each.alarm for each in logs.written), len(logs.cases)


def _app(url: str, practice: Practice | None) -> App:
    if practice is None:
        return build(url)
    engine = open_engine(url)
    upgrade(engine)
    return App(replace(practice, engine=engine), system_clock)  # the clinic puts in its own clock


def _clinic(
    app: App, url: str, days: int, seed: int, names: tuple[str, ...], check: Check
) -> Clinic:
    dice = random.Random(seed)  # noqa: S311 - nothing secret
    app.engine.dispose()
    endless = check is Check.SAFETY
    trouble = Trouble(frozenset(names), dice, rate=WORSE if endless else 1.0)
    return Clinic(app, url, dice, trouble, days, quiet_days=0 if endless else QUIET_DAYS)
