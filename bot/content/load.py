"""Loading the content directory into the core's values; every fault at once, none half-loaded."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from bot.content import compiling
from bot.content.document import Document, judge, read
from bot.content.faults import ContentFaults, Fault
from bot.content.schema import (
    ProtocolModel,
    Strict,
    TalkModel,
)
from bot.content.schema_practice import (
    EscalationsModel,
    FactsModel,
    MinutesModel,
    RuleModel,
    RulesModel,
    SourceModel,
    WishesModel,
)
from bot.core.choice_words import plain
from bot.core.flow import Allowed, Flow, FlowBook
from bot.core.machine import build
from bot.core.protocol import FactValue, Protocol, Rules, names_the_surgeon

Model = TypeVar("Model", bound=BaseModel)
LANGUAGES = ("en", "es")  # a language in the texts beyond these is added, one missing is a fault


class SourcesModel(Strict):
    """The file of sources, under one key so that it can be judged like the others."""

    sources: dict[str, SourceModel]


class RulesFileModel(Strict):
    """A file of rules, under one key."""

    rules: dict[str, RuleModel]


@dataclass(slots=True)
class Shelf:
    """Every file of a content directory, read and judged, with the faults found on the way."""

    root: Path
    talks: list[tuple[TalkModel, Document]] = field(default_factory=list)
    protocols: list[tuple[ProtocolModel, Document]] = field(default_factory=list)
    facts: tuple[FactsModel, Document] | None = None
    escalations: tuple[EscalationsModel, Document] | None = None
    sources: tuple[SourcesModel, Document] | None = None
    wishes: tuple[WishesModel, Document] | None = None
    faults: list[Fault] = field(default_factory=list)

    def take(
        self, path: Path, model: type[Model], under: str = ""
    ) -> tuple[Model, Document] | None:
        """Read and judge one file; what is wrong with it goes to the faults."""
        document = read(path, self.root)
        if isinstance(document, Fault):
            self.faults.append(document)
            return None
        judged = judge(_under(document, under), model)
        if isinstance(judged, tuple):
            self.faults.extend(judged)
            return None
        return judged, document


def _under(document: Document, key: str) -> Document:
    return Document(document.file, {key: document.tree}) if key else document


def shelf(directory: Path) -> Shelf:
    """Read the whole directory."""
    found = Shelf(directory)
    for path in sorted((directory / "talks").glob("*.yaml")):
        if (talk := found.take(path, TalkModel)) is not None:
            found.talks.append(talk)
    for path in sorted((directory / "protocol").glob("*.yaml")):
        if (protocol := found.take(path, ProtocolModel)) is not None:
            found.protocols.append(protocol)
    found.facts = found.take(directory / "facts.yaml", FactsModel)
    found.escalations = found.take(directory / "escalations.yaml", EscalationsModel)
    found.sources = found.take(directory / "sources.yaml", SourcesModel, "sources")
    if (directory / "wishes.yaml").exists():  # content without it answers such words as questions
        found.wishes = found.take(directory / "wishes.yaml", WishesModel)
    return found


def load_book(directory: Path) -> FlowBook:
    """All conversations and escalation reasons of `directory`; raises ContentFaults."""
    found = shelf(directory)
    flows = compiled(found)
    return book_of(found, flows)


def compiled(found: Shelf) -> dict[str, Flow]:
    """The flows of a shelf, or ContentFaults with everything that is wrong with it."""
    structure = [fault for talk, document in found.talks for fault in _structure(talk, document)]
    if found.faults or structure:
        raise ContentFaults([*found.faults, *structure])
    return {talk.flow: compiling.flow(talk, doc, revision(talk)) for talk, doc in found.talks}


def book_of(found: Shelf, flows: Mapping[str, Flow]) -> FlowBook:
    """The book of a shelf whose files are all sound."""
    if found.escalations is None or found.facts is None:
        raise ContentFaults(found.faults)
    reasons, facts = found.escalations[0].reasons, found.facts[0].facts
    defaults: dict[str, FactValue] = {
        name: fact.default for name, fact in facts.items() if fact.default is not None
    }
    return FlowBook(
        flows=flows,
        reasons={name: compiling.reason(name, model) for name, model in reasons.items()},
        fact_defaults=defaults,
        languages=languages(flows.values()),
        allowed=allowances(found.escalations[0].minutes),
        wishes=_wishes(found),
        machines={name: build(flow) for name, flow in flows.items() if flow.states},
    )


def allowances(minutes: MinutesModel) -> dict[str, Allowed]:
    """The minutes for every severity, as the core's values."""
    return {name: compiling.allowed(getattr(minutes, name)) for name in MinutesModel.model_fields}


def _wishes(found: Shelf) -> dict[str, tuple[str, ...]]:
    if found.wishes is None:
        return {}
    return {
        wish: tuple(plain(text) for texts in by_language.values() for text in texts)
        for wish, by_language in found.wishes[0].wishes.items()
    }


def languages(flows: Iterable[Flow]) -> tuple[str, ...]:
    """The languages of the content: English and Spanish first, then what every flow has."""
    per_text = [set(texts) for flow in flows for texts in flow.wording.values()]
    everywhere = set.intersection(*per_text) if per_text else set()
    return (*LANGUAGES, *sorted(everywhere - set(LANGUAGES)))


def revision(talk: TalkModel) -> str:
    """A name for this wording and shape of the talk: it changes when anything in it changes."""
    return sha256(talk.model_dump_json().encode()).hexdigest()[:12]


def _structure(talk: TalkModel, document: Document) -> Iterable[Fault]:
    """What must hold before a machine can be built: every named next state exists."""
    for path, target in targets(talk):
        if target not in talk.states:
            what, mend = f"goes to {target}, which is no state", f"Add a state {target}."
            yield document.fault("F020", path, what, mend)


def targets(talk: TalkModel) -> Iterable[tuple[tuple[str | int, ...], str]]:
    """Every place of a talk that names a state, with that state."""
    if talk.start is not None or talk.states:
        yield ("start",), talk.start or "(none)"
    for name, state in talk.states.items():
        if state.go is not None:
            yield ("states", name, "go"), state.go
        for place, arm in enumerate(state.branch):
            yield ("states", name, "branch", place), arm.go
        for key, reply in state.replies.items():
            if reply.go is not None:
                yield ("states", name, "replies", key), reply.go


def load_protocols(directory: Path) -> dict[str, Protocol]:
    """The protocols by name; one with a `base` has the base's prompts first."""
    found = Shelf(directory)
    taken = [
        found.take(path, ProtocolModel) for path in sorted((directory / "protocol").glob("*.yaml"))
    ]
    files = {pair[0].protocol: pair for pair in taken if pair is not None}
    for model, document in files.values():
        if model.base is not None and model.base not in files:
            mend = f"Add protocol/{model.base}.yaml, or take the base out."
            found.faults.append(document.fault("F021", ("base",), "no such base", mend))
    if found.faults:
        raise ContentFaults(found.faults)
    return {name: _protocol(name, files) for name in files}


def _protocol(name: str, files: Mapping[str, tuple[ProtocolModel, Document]]) -> Protocol:
    model, document = files[name]
    base = _protocol(model.base, files).prompts if model.base not in (None, name) else ()
    own = compiling.prompts(model.prompts, document)
    replaced = {prompt.id for prompt in own}
    kept = tuple(prompt for prompt in base if prompt.id not in replaced)
    return Protocol(name, model.title, (*kept, *own), model.base or "", model.surgeon or "")


def load_rules(directory: Path, overlay: str | None = None) -> Rules:
    """The hospital's rules, with a surgeon's own rules laid over them.

    `overlay` is a name in rules/surgeons/ (`marsh`). Raises ContentFaults.
    """
    found = Shelf(directory)
    paths = [directory / "rules" / "default.yaml"]
    if overlay is not None:
        paths.append(directory / "rules" / "surgeons" / f"{overlay}.yaml")
    taken = [found.take(path, RulesFileModel, "rules") for path in paths]
    if found.faults:
        raise ContentFaults(found.faults)
    return _rules([pair for pair in taken if pair is not None])


def _rules(files: list[tuple[RulesFileModel, Document]]) -> Rules:
    """Later files win; `values` are joined, but never a name that is another surgeon's."""
    merged: dict[str, object] = {}
    origin: dict[str, Document] = {}
    values: dict[str, object] = {}
    for model, document in files:
        surgeon = model.rules.get("surgeon")
        if surgeon is not None and surgeon.value != merged.get("surgeon"):
            values = {name: v for name, v in values.items() if not names_the_surgeon(name)}
        for name, rule in model.rules.items():
            merged[name], origin[name] = rule.value, document
            if name == "values" and isinstance(rule.value, dict):
                values |= rule.value
    if isinstance(merged.get("values"), dict):
        merged["values"] = values
    judged = judge(Document(files[-1][1].file, merged), RulesModel)
    if isinstance(judged, tuple):
        raise ContentFaults([_at_rule(fault, origin) for fault in judged])
    return compiling.rules(judged)


def _at_rule(fault: Fault, origin: Mapping[str, Document]) -> Fault:
    """Give a fault found in the joined rules the file and line of the rule that it is about."""
    for name, document in origin.items():
        if fault.what.startswith((f"{name}:", f"{name}.", f"unknown key {name}")):
            return document.fault(fault.code, (name,), fault.what, fault.mend)
    return fault
