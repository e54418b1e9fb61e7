"""`countdown plan`: one patient's dated countdown, as a table or as JSON."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from enum import StrEnum
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from bot.cli.plan_compare import compared, compared_json, print_compared
from bot.cli.plan_options import enrolled_of, facts_of, hold_of, surgery_of
from bot.content.citing import cite
from bot.content.faults import ContentFaults
from bot.content.load import load_book, load_protocols, load_rules, shelf
from bot.core.countdown import local
from bot.core.flow import FlowBook
from bot.core.plan import make_countdown
from bot.core.planned import Countdown, NotPlanned
from bot.core.preview import Outlook, Preview, preview
from bot.core.protocol import Candidate, Protocol, Rules, Surgery, protocol_for

REASONS = {
    "start_unknown": "waits for the start time",
    "too_late": "too late to send: for the nurse",
    "medicine_date_past": "last dose already past: for the nurse at once",
    "quiet_hours": "no time outside quiet hours is left: for the nurse",
}


class Joint(StrEnum):
    """The joint to be replaced."""

    HIP = "hip"
    KNEE = "knee"


class Side(StrEnum):
    """The side of the operation."""

    LEFT = "left"
    RIGHT = "right"


class Language(StrEnum):
    """The language of the messages."""

    EN = "en"
    ES = "es"


def plan(
    joint: Annotated[Joint, typer.Option(help="Joint to be replaced.")],
    surgery: Annotated[
        str, typer.Option(help="Date, or date and local start time: 2027-03-15T07:30.")
    ],
    zone: Annotated[str, typer.Option(help="Hospital's time zone: America/New_York.")],
    enrolled: Annotated[
        str | None,
        typer.Option(
            help="Date, or date and local time, of enrolment; five weeks ahead if left out."
        ),
    ] = None,
    fact: Annotated[
        list[str] | None,
        typer.Option(help="A fact as KEY=VALUE, such as smoker=yes or has_coach=yes; repeatable."),
    ] = None,
    hold: Annotated[
        list[str] | None,
        typer.Option(help='Medicine to stop: "NAME=LAST_DOSE=PRESCRIBER"; repeatable.'),
    ] = None,
    side: Annotated[Side, typer.Option(help="Side of the operation.")] = Side.LEFT,
    arrive: Annotated[
        str | None, typer.Option(help="Arrival time set by the hospital: 06:00.")
    ] = None,
    language: Annotated[Language, typer.Option(help="Language of the texts.")] = Language.EN,
    surgeon: Annotated[
        str | None, typer.Option(help="A surgeon's own rules: a file name in rules/surgeons.")
    ] = None,
    compare: Annotated[
        tuple[str, str] | None,
        typer.Option(
            help="Two sets of rules side by side: `default`, or file names in rules/surgeons."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print a JSON list.")] = False,
) -> None:
    """Print a patient's dated countdown.

    The patient has agreed to early-morning messages unless --fact dawn_agreed=no.

    Examples:

        countdown plan --joint knee --surgery 2027-03-15T07:30 --zone America/New_York

        countdown plan --joint hip --surgery 2027-03-15 --zone America/Chicago --fact smoker=yes

        countdown plan --joint knee --surgery 2027-03-15T07:30 --zone America/New_York --json

        countdown plan --joint knee --surgery 2027-03-15T07:30 --zone America/New_York \\
            --compare marsh tovar
    """
    content = Path(str(files("flows")))
    book, rules, protocol = _content(content, joint, surgeon)
    operation = surgery_of(joint.value, side.value, surgery, zone, arrive)
    facts = facts_of(fact or [], book.fact_defaults)
    first_name = str(facts.pop("first_name", "Rosalind"))
    candidate = Candidate(
        enrolled_at=enrolled_of(enrolled, operation, rules.wake),
        facts={**book.fact_defaults, **facts},
        holds=tuple(hold_of(entry) for entry in hold or []),
        dawn_agreed=facts.get("dawn_agreed", True) is True,
        has_coach=facts.get("has_coach") is True,
    )
    outlook = Outlook(book, rules, candidate, operation, language.value, first_name)
    if compare is not None:
        _compare(content, joint, outlook, compare, as_json=as_json)
        return
    countdown = make_countdown(protocol, rules, candidate, operation, candidate.enrolled_at)
    found = list(preview(countdown, outlook))
    if as_json:
        typer.echo(json.dumps(_items(found, zone, _citations(content)), indent=2))
    else:
        _print_table(found, operation)
    _print_rest(countdown, operation)


def _compare(
    content: Path, joint: Joint, outlook: Outlook, names: tuple[str, str], *, as_json: bool
) -> None:
    """Print the same patient's countdown under two sets of rules."""
    try:
        first, second = (load_rules(content, None if n == "default" else n) for n in names)
    except ContentFaults as faults:
        typer.echo(str(faults), err=True)
        raise typer.Exit(1) from faults
    both = (replace(outlook, rules=first), replace(outlook, rules=second))
    found, zone = compared(load_protocols(content), joint.value, both), outlook.surgery.zone
    if as_json:
        typer.echo(json.dumps(compared_json(found, zone), indent=2))
    else:
        print_compared(found, zone)


def _content(
    directory: Path, joint: Joint, surgeon: str | None
) -> tuple[FlowBook, Rules, Protocol]:
    """Load what the plan is made from; faults in the content are told and end the command."""
    try:
        protocols = load_protocols(directory)
        rules = load_rules(directory, surgeon)
        protocol = protocol_for(protocols, joint.value, rules.surgeon)
        return load_book(directory), rules, protocol
    except ContentFaults as faults:
        typer.echo(str(faults), err=True)
        raise typer.Exit(1) from faults


def _items(
    found: Iterable[Preview], zone: str, cited: Mapping[str, str]
) -> list[dict[str, object]]:
    """Give the JSON items: what is promised (flow, due, to, text, sources), and more."""
    return [
        {
            "flow": shown.message.parts[0].flow,
            "due": local(shown.message.due, zone).isoformat(),
            "to": shown.message.to,
            "text": shown.text,
            "sources": [cited.get(source, source) for source in shown.sources],
            "key": shown.message.key,
            "flows": [part.flow for part in shown.message.parts],
            "priority": shown.message.priority.value,
            "time_critical": shown.message.time_critical,
            "closes": local(shown.message.closes, zone).isoformat(),
            "moments": {n: local(at, zone).isoformat() for n, at in shown.moments.items()},
        }
        for shown in found
    ]


def _citations(content: Path) -> dict[str, str]:
    """Give each source id with the words to cite it by."""
    read = shelf(content).sources
    if read is None:
        return {}
    return {name: f"{name}: {cite(source)}" for name, source in read[0].sources.items()}


def _print_table(found: Iterable[Preview], operation: Surgery) -> None:
    table = Table(title=f"Countdown to {operation.on:%A, %B} {operation.on.day}", show_lines=True)
    for head in ("When", "To", "Message"):
        table.add_column(head, overflow="fold", no_wrap=head != "Message")
    for shown in found:
        due = local(shown.message.due, operation.zone)
        table.add_row(f"{due:%a %b} {due.day:>2}  {due:%H:%M %Z}", shown.message.to, shown.text)
    Console().print(table, markup=False)


def _print_rest(countdown: Countdown, operation: Surgery) -> None:
    """Say on stderr what has no time: what waits, and what the nurse must see to."""
    for entry in (*countdown.missed, *countdown.waiting):
        typer.echo(f"{_name(entry)}: {REASONS[entry.reason]}", err=True)
    if countdown.nurse_due is not None:
        due = local(countdown.nurse_due, operation.zone)
        typer.echo(
            f"The nurse is told that the start is missing: {due:%a %b %d %H:%M %Z}", err=True
        )


def _name(entry: NotPlanned) -> str:
    return f"{entry.flow} ({entry.values['medicine']})" if "medicine" in entry.values else entry.key
