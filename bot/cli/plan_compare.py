"""`countdown plan --compare`: two surgeons' rules, and one patient's countdown under each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table

from bot.core.countdown import local
from bot.core.differences import (
    MessageDifference,
    RuleDifference,
    message_differences,
    rule_differences,
)
from bot.core.plan import make_countdown
from bot.core.preview import Outlook, Preview, preview
from bot.core.protocol import Protocol, Rules, protocol_for

SAME = "-"


@dataclass(frozen=True, slots=True)
class Compared:
    """Both countdowns of one patient, and what differs."""

    surgeons: tuple[str, str]
    rules: tuple[RuleDifference, ...]
    messages: tuple[MessageDifference, ...]
    same: int


def compared(
    protocols: Mapping[str, Protocol], joint: str, outlooks: tuple[Outlook, Outlook]
) -> Compared:
    """Plan the same patient under the rules, and the own prompts, of each outlook's surgeon."""
    first, second = (
        _shown(protocol_for(protocols, joint, outlook.rules.surgeon), outlook)
        for outlook in outlooks
    )
    rules: tuple[Rules, Rules] = (outlooks[0].rules, outlooks[1].rules)
    messages = message_differences(first, second)
    both = {shown.message.key for shown in first} & {shown.message.key for shown in second}
    same = len(both - {difference.key for difference in messages})
    return Compared((rules[0].surgeon, rules[1].surgeon), rule_differences(*rules), messages, same)


def _shown(protocol: Protocol, outlook: Outlook) -> Sequence[Preview]:
    candidate = outlook.candidate
    countdown = make_countdown(
        protocol, outlook.rules, candidate, outlook.surgery, candidate.enrolled_at
    )
    return tuple(preview(countdown, outlook))


def print_compared(found: Compared, zone: str) -> None:
    """Print what differs, side by side; what is the same is only counted."""
    console = Console()
    rules = Table(title="Rules that differ", show_lines=True)
    for head in ("Rule", *found.surgeons):
        rules.add_column(head, overflow="fold")
    for rule in found.rules:
        rules.add_row(rule.name, rule.first or SAME, rule.second or SAME)
    console.print(rules, markup=False)
    messages = Table(title="Messages that differ", show_lines=True)
    for head in ("Message", *found.surgeons):
        messages.add_column(head, overflow="fold", ratio=1 if head == "Message" else 3)
    for difference in found.messages:
        cells = (
            _cell(shown, difference.carrier, zone)
            for shown in (difference.first, difference.second)
        )
        messages.add_row(difference.key, *cells)
    console.print(messages, markup=False)
    console.print(f"{found.same} more messages are the same, at the same time.", markup=False)


def _cell(shown: Preview | None, carrier: str | None, zone: str) -> str:
    if shown is None:
        return f"(sent together with {carrier})" if carrier else "(not sent)"
    return f"{_time(shown, zone)}\n{shown.text}"


def _time(shown: Preview, zone: str) -> str:
    due = local(shown.message.due, zone)
    return f"{due:%a %b} {due.day}, {due:%H:%M %Z}, to the {shown.message.to}"


def compared_json(found: Compared, zone: str) -> dict[str, object]:
    """What differs, for programs."""
    return {
        "surgeons": list(found.surgeons),
        "rules": [
            {"rule": rule.name, "first": rule.first, "second": rule.second} for rule in found.rules
        ],
        "messages": [
            {
                "key": difference.key,
                "moved": difference.moved,
                "first": _json(difference.first, zone),
                "second": _json(difference.second, zone),
                "carrier": difference.carrier,
            }
            for difference in found.messages
        ],
        "same": found.same,
    }


def _json(shown: Preview | None, zone: str) -> dict[str, str] | None:
    if shown is None:
        return None
    due = local(shown.message.due, zone).isoformat()
    return {"due": due, "to": shown.message.to, "text": shown.text}
