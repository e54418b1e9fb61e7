"""All the pictures of a content directory, by file name, with a page that shows them in order."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from bot.content.load import load_book, load_protocols, load_rules
from bot.content.pictures.states import state_diagram
from bot.content.pictures.timeline import timeline
from bot.core.flow import Flow
from bot.core.protocol import Protocol

INDEX = "README.md"


def album(directory: Path) -> dict[str, str]:
    """Every picture: file name -> text. Raises ContentFaults when the content is not sound."""
    book, protocols = load_book(directory), load_protocols(directory)
    rules = load_rules(directory)
    talks = {name: flow for name, flow in sorted(book.flows.items()) if _speaks(flow)}
    whole = {n: p for n, p in protocols.items() if not _inside_another(p, protocols.values())}
    pictures = {f"timeline_{n}.svg": timeline(p, rules) for n, p in sorted(whole.items())}
    pictures |= {f"talk_{name}.svg": state_diagram(flow) for name, flow in talks.items()}
    return {INDEX: _index(talks, sorted(whole)), **pictures}


def _inside_another(protocol: Protocol, others: Iterable[Protocol]) -> bool:
    """The common base is drawn inside the protocols that build on it."""
    own = {prompt.id for prompt in protocol.prompts}
    return any(
        own < {prompt.id for prompt in other.prompts} for other in others if not other.surgeon
    )


def _speaks(flow: Flow) -> bool:
    return any(state.say for state in flow.states.values())


def _index(talks: Mapping[str, Flow], protocols: list[str]) -> str:
    lines = [
        "# Pictures of the content",
        "",
        "Made by `countdown pictures`; `countdown pictures --check` says when they are old.",
        "",
        "## The countdown by day",
        *(f"- [{name}](timeline_{name}.svg)" for name in protocols),
        "",
        "## The conversations",
        *(f"- [{flow.title}](talk_{name}.svg) (`{name}`)" for name, flow in talks.items()),
        "",
    ]
    return "\n".join(lines)


def stale(pictures: Mapping[str, str], folder: Path) -> list[str]:
    """What in `folder` is missing, old, or no longer drawn."""
    there = {path.name for path in folder.glob("*") if path.suffix in (".svg", ".md")}
    old = [
        name
        for name, text in pictures.items()
        if name not in there or (folder / name).read_text(encoding="utf-8") != text
    ]
    return sorted({*old, *(there - set(pictures))})
