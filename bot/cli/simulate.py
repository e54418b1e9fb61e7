"""`countdown simulate`: plays invented patients against the real services, faults included."""

import json
from typing import Annotated

import typer

from bot.simulate.faults import NAMES
from bot.simulate.findings import Check
from bot.simulate.run import Outcome, simulate


def simulate_command(
    patients: Annotated[int, typer.Option(min=1, help="How many invented patients.")] = 20,
    days: Annotated[int, typer.Option(min=7, help="How many days with faults.")] = 14,
    seed: Annotated[int, typer.Option(help="The same seed plays the same run.")] = 1,
    faults: Annotated[
        str, typer.Option(help=f"With commas: {', '.join(NAMES)}; or all, or none.")
    ] = "all",
    check: Annotated[
        Check,
        typer.Option(help="safety: nothing wrong, faults without end; liveness: all comes right."),
    ] = Check.BOTH,
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")] = False,
) -> None:
    """Play patients, nurses and a failing network on a virtual clock, then audit the logs.

    Safety: at no moment a wrong thing (doubled, out of order, at a wrong time, stale, after a
    STOP, without consent). Liveness: two days after the faults have stopped nothing is lost, all
    that was due was asked in time, every alarm was answered. Ends with 1 when anything was found.

    Examples:

        countdown simulate --patients 50 --days 21 --seed 7

        countdown simulate --check safety --faults crash,timeout --json
    """
    outcome = simulate(patients, days, seed, _chosen(faults), check=check)
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
    kinds = ("safety", outcome.safety()), ("liveness", outcome.liveness())
    lines = [_kind(name, counts) for name, counts in kinds]
    apart = {*dict(outcome.findings.by_kind()), "safety", "liveness", "examples"}
    lines += [f"{n.replace('_', ' '):20} {v}" for n, v in told.items() if n not in apart]
    lines += [f"{n}: {each}" for n, some in outcome.findings.by_kind() for each in some[:5]]
    return "\n".join(lines)


def _kind(name: str, counts: dict[str, int] | None) -> str:
    if counts is None:
        return f"{name:20} not looked at"
    told = ", ".join(f"{kind.replace('_', ' ')} {n}" for kind, n in counts.items())
    return f"{name:20} {'kept' if not any(counts.values()) else 'BROKEN'}: {told}"
