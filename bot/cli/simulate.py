"""`countdown simulate`: plays invented patients against the real services, faults included."""

import json
from typing import Annotated

import typer

from bot.simulate.faults import NAMES
from bot.simulate.run import Outcome, simulate


def simulate_command(
    patients: Annotated[int, typer.Option(min=1, help="How many invented patients.")] = 20,
    days: Annotated[int, typer.Option(min=7, help="How many days with faults.")] = 14,
    seed: Annotated[int, typer.Option(help="The same seed plays the same run.")] = 1,
    faults: Annotated[
        str, typer.Option(help=f"With commas: {', '.join(NAMES)}; or all, or none.")
    ] = "all",
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")] = False,
) -> None:
    """Play patients, nurses and a failing network on a virtual clock, then audit the logs.

    Ends with 1 when anything was lost, doubled, out of order, or an alarm went unanswered.

    Examples:

        countdown simulate --patients 50 --days 21 --seed 7

        countdown simulate --faults crash,timeout --json
    """
    outcome = simulate(patients, days, seed, _chosen(faults))
    typer.echo(json.dumps(outcome.as_json(), indent=2) if as_json else _in_words(outcome))
    raise typer.Exit(0 if outcome.findings.clean else 1)


def _chosen(faults: str) -> tuple[str, ...]:
    if faults in ("all", "none"):
        return NAMES if faults == "all" else ()
    chosen = tuple(name.strip() for name in faults.split(","))
    if unknown := sorted(set(chosen) - set(NAMES)):
        known = ", ".join(NAMES)
        raise typer.BadParameter(f"No fault is named {', '.join(unknown)}. Known: {known}.")
    return chosen


def _in_words(outcome: Outcome) -> str:
    told = outcome.as_json()
    examples = told.pop("examples")
    lines = [f"{name.replace('_', ' '):20} {value}" for name, value in told.items()]
    found = examples.items() if isinstance(examples, dict) else ()
    lines += [f"{name}: {line}" for name, some in found for line in some]
    return "\n".join(lines)
