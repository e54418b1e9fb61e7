"""Where rules leave published guidance, and how a surgeon's rules differ from the hospital's.

These are warnings: a practice may decide otherwise, with its eyes open. Each names the source.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import time
from pathlib import Path

from bot.content.document import Document, read
from bot.content.faults import Fault
from bot.content.load import load_rules
from bot.core.differences import RuleDifference, rule_differences
from bot.core.protocol import Rules


@dataclass(frozen=True, slots=True)
class Guidance:
    """One published line: the rule that it is about, what holds, and what to say if it does not."""

    rule: str
    holds: Callable[[Rules], bool]
    what: str
    source: str


GUIDANCE = (
    Guidance(
        "food_hours",
        lambda r: r.food_hours >= 8,
        "a full meal may end later than 8 hours before",
        "fast-fatty-8h",
    ),
    Guidance(
        "light_meal_hours",
        lambda r: r.light_meal_hours >= 6,
        "a light meal may end later than 6 hours before",
        "fast-light-6h",
    ),
    Guidance(
        "drink_hours",
        lambda r: r.drink_hours >= 2,
        "drinks may end later than 2 hours before",
        "fast-clear-2h",
    ),
    Guidance(
        "wash_days",
        lambda r: bool({-1, 0} & set(r.wash_days)),
        "no wash on the day before or the day itself",
        "chg-cdc-night",
    ),
    Guidance(
        "fever_c",
        lambda r: r.fever_c <= 38.0 and r.fever_older_c <= 37.8,
        "the line for fever is above 38.0 C, or 37.8 C for older patients",
        "fever-38, fever-older",
    ),
    Guidance(
        "fever_f",
        lambda r: r.fever_f <= 100.4 and r.fever_older_f <= 100.0,
        "the line for fever is above 100.4 F, or 100.0 F for older patients",
        "fever-38, fever-older",
    ),
    Guidance(
        "wake",
        lambda r: r.wake >= time(8),
        "messages begin before 8 in the morning",
        "quiet-hours",
    ),
    Guidance(
        "hush", lambda r: r.hush <= time(21), "messages end after 9 in the evening", "quiet-hours"
    ),
)


@dataclass(frozen=True, slots=True)
class OwnRules:
    """One surgeon's rules beside the hospital's, and where they leave published guidance."""

    file: str
    surgeon: str
    differences: tuple[RuleDifference, ...]
    warnings: tuple[Fault, ...]


def own_rules(directory: Path) -> Iterator[OwnRules]:
    """The hospital's rules first (no differences), then each surgeon's. Raises ContentFaults."""
    base = load_rules(directory)
    yield _judged(directory / "rules" / "default.yaml", directory, base, base)
    for path in sorted((directory / "rules" / "surgeons").glob("*.yaml")):
        yield _judged(path, directory, load_rules(directory, path.stem), base)


def _judged(path: Path, directory: Path, rules: Rules, base: Rules) -> OwnRules:
    page = read(path, directory)
    warnings: list[Fault] = []
    for line in GUIDANCE:
        own = isinstance(page, Document) and isinstance(page.tree, dict) and line.rule in page.tree
        if isinstance(page, Document) and not line.holds(rules) and (own or line.holds(base)):
            what = f"{line.what}, which leaves published guidance ({line.source})"
            mend = "Change it, or let the clinician who decided it note why beside the rule."
            warnings.append(page.fault("W001", (line.rule,), what, mend))
    file = page.file if isinstance(page, Document) else str(path)
    return OwnRules(file, rules.surgeon, rule_differences(base, rules), tuple(warnings))
