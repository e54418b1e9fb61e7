"""All texts side by side, per conversation, as one page that a nurse and a lawyer can sign."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape

from bot.content.answers import load_answers
from bot.content.citing import cite
from bot.content.document import Document, read
from bot.content.faults import ContentFaults
from bot.content.load import Shelf, compiled, languages, shelf
from bot.content.schema import TalkModel
from bot.content.schema_practice import SourceModel
from bot.content.snapshot import snapshot
from bot.core.wording import PLACEHOLDER

STEMS = {
    "nudge": "Reminder when there is no reply",
    "simpler": "Asked once more, more simply",
    "coach_ask": "Asked of the support person",
    "topic": "What a copy for the support person calls this",
}
NAMES = {"en": "English", "es": "Spanish"}


@dataclass(frozen=True, slots=True)
class Line:
    """One text in every language, with the choices offered below it."""

    key: str
    role: str
    texts: Mapping[str, str]
    choices: tuple[Mapping[str, str], ...] = ()
    questions: Mapping[str, str] = field(default_factory=dict)  # ways of asking, for an answer


@dataclass(frozen=True, slots=True)
class Section:
    """One conversation, or the questions and answers, with what a reviewer must know."""

    name: str
    title: str
    owner: str
    review_by: str
    sources: tuple[str, ...]
    lines: tuple[Line, ...]
    health: bool = False


def review_sheet(directory: Path, printed: str) -> str:
    """The sheet as HTML for printing. `printed` is the day, as the reader writes it.

    Raises ContentFaults when the content is not sound: nobody should sign it then.
    """
    found = shelf(directory)
    flows = compiled(found)
    if found.facts is None or found.sources is None:
        raise ContentFaults(found.faults)
    sections = [_talk(talk, found) for talk, _ in found.talks]
    page = _environment().get_template("review_sheet.html")
    return page.render(
        sections=[*sections, _answers(directory, found)],
        languages=languages(flows.values()),
        names=NAMES,
        placeholders=found.facts[0].placeholders,
        printed=printed,
        revision=snapshot(directory).revision,
    )


def _environment() -> Environment:
    pages = Environment(
        loader=PackageLoader("bot.content", "templates"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["filled"] = _marked
    return pages


def _marked(text: str) -> Markup:
    """The text with each placeholder as a box with its name, so that none is read over."""
    parts = re.split(f"({PLACEHOLDER.pattern})", text)
    return Markup("").join(_pieces(parts))


def _pieces(parts: list[str]) -> Iterator[Markup]:
    """`re.split` gives text, whole match and inner name in turn."""
    for place, part in enumerate(parts):
        if place % 3 == 0:
            yield Markup("<br>").join(escape(line) for line in part.split("\n"))
        elif place % 3 == 2:
            yield Markup("<span class='fill'>{}</span>").format(part.replace("_", " "))


def _talk(talk: TalkModel, found: Shelf) -> Section:
    return Section(
        name=talk.flow,
        title=talk.title,
        owner=talk.owner,
        review_by=talk.review_by.isoformat(),
        sources=tuple(_cited(talk.sources, found)),
        lines=tuple(_lines(talk)),
        health=talk.health,
    )


def _cited(names: list[str], found: Shelf) -> Iterator[str]:
    known: Mapping[str, SourceModel] = found.sources[0].sources if found.sources else {}
    for name in names:
        source = known.get(name)
        if source is not None:
            yield f"{name}: {cite(source)}"


def _lines(talk: TalkModel) -> Iterator[Line]:
    for key, texts in talk.wording.items():
        asking = [state for state in talk.states.values() if state.say == key and state.choices]
        choices = (
            tuple(talk.labels.get(choice, {}) for choice in asking[0].choices) if asking else ()
        )
        yield Line(key, _role(talk, key), texts, choices)


def _role(talk: TalkModel, key: str) -> str:
    states = {name: state for name, state in talk.states.items() if state.say == key}
    if any(state.asked for state in states.values()):
        return "Question"
    if any(state.end for state in states.values()):
        return "Last words"
    for stem, role in STEMS.items():
        if key == stem or key.startswith(f"{stem}_"):
            return role
    return "Statement"


def _answers(directory: Path, found: Shelf) -> Section:
    book = load_answers(directory / "answers.yaml")
    lines = tuple(
        Line(
            entry.id,
            "A nurse answers; the patient is told" if entry.escalate else "Answer",
            entry.answer,
            questions={
                language: " / ".join(asked[:3]) for language, asked in entry.questions.items()
            },
        )
        for entry in book.entries
    )
    names = dict.fromkeys(source for entry in book.entries for source in entry.sources)
    cited = tuple(_cited(list(names), found))
    page = read(directory / "answers.yaml", directory)
    head = page.tree if isinstance(page, Document) else {}
    owner, review_by = str(head.get("owner", "")), str(head.get("review_by", ""))
    return Section("answers", "Questions that patients ask", owner, review_by, cited, lines)
