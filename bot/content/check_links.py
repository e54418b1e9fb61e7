"""Checks on what the files say about each other: facts, sources, flows, reasons, times."""

from collections.abc import Iterable, Iterator

from bot.content.document import Document, Key
from bot.content.faults import Fault
from bot.content.load import Shelf
from bot.content.schema import PromptModel, RangeModel, TalkModel, Tests, WhenModel
from bot.content.schema_practice import FactModel
from bot.core.dialogue_draft import fact_value
from bot.core.protocol import Anchor

CALENDAR = frozenset({Anchor.SURGERY_DATE, Anchor.WASH_DAY, Anchor.LAST_DOSE})
FROM_THE_ENGINE = frozenset({"days_left", "reason", "office_open", "has_coach", "dawn_agreed"})
Path = tuple[Key, ...]


def talk_links(talk: TalkModel, document: Document, found: Shelf) -> Iterator[Fault]:
    """Facts, sources, flows and reasons that one talk names."""
    yield from sources_exist(("sources",), talk.sources, document, found)
    flows = {model.flow for model, _ in found.talks}
    reasons = set(found.escalations[0].reasons) if found.escalations else set()
    for name, state in talk.states.items():
        path: Path = ("states", name)
        for place, arm in enumerate(state.branch):
            yield from tests_exist((*path, "branch", place), arm.tests, document, found)
        for start in state.starts:
            yield from _flow_exists((*path, "starts"), start.flow, document, flows)
        for where, reason in _reasons(talk, name):
            if reason not in reasons:
                what = f"no escalation reason {reason}"
                yield document.fault("F054", where, what, "Add it to escalations.yaml.")
        for key, reply in state.replies.items():
            for fact, value in reply.learn.items():
                where = (*path, "replies", key)
                yield from _learnable(where, fact, value, document, found)


def _reasons(talk: TalkModel, name: str) -> Iterator[tuple[Path, str]]:
    state = talk.states[name]
    if state.escalate is not None:
        yield ("states", name, "escalate"), state.escalate
    if state.silence is not None and state.silence.escalate is not None:
        yield ("states", name, "silence"), state.silence.escalate
    for key, reply in state.replies.items():
        if reply.escalate is not None:
            yield ("states", name, "replies", key), reply.escalate


def sources_exist(
    path: Path, ids: Iterable[str], document: Document, found: Shelf
) -> Iterator[Fault]:
    """Something is cited, and all that is cited exists."""
    known = found.sources[0].sources if found.sources else {}
    ids = tuple(ids)
    if not ids:
        mend = "Add sources; `our-choice` or `common-practice` where nothing is published."
        yield document.fault("F052", path, "no source", mend)
    for source in ids:
        if source not in known:
            what = f"unknown source {source}"
            yield document.fault("F052", path, what, "Add it to sources.yaml.")


def tests_exist(path: Path, tests: Tests, document: Document, found: Shelf) -> Iterator[Fault]:
    """Every fact that a condition names exists, and can have the value that is asked for."""
    facts = found.facts[0].facts if found.facts else {}
    for fact, test in tests.items():
        if fact not in facts and fact not in FROM_THE_ENGINE:
            what = f"unknown fact {fact}"
            yield document.fault("F050", path, what, "Add it to facts.yaml, or check its spelling.")
        elif fact in facts and not isinstance(test, RangeModel):
            for value in test:
                yield from _possible(path, fact, value, facts[fact], document)


def _possible(
    path: Path, fact: str, value: bool | int | str, model: FactModel, document: Document
) -> Iterator[Fault]:
    kinds = {"bool": bool, "number": int, "text": str}
    right = isinstance(value, kinds[model.kind]) and (
        model.kind == "bool" or not isinstance(value, bool)
    )
    if not right or (model.values and value not in model.values):
        allowed = ", ".join(map(str, model.values)) or model.kind
        what = f"the fact {fact} is never {value}"
        yield document.fault("F051", path, what, f"Use one of: {allowed}.")


def _learnable(
    path: Path, fact: str, value: bool | int | str, document: Document, found: Shelf
) -> Iterator[Fault]:
    facts = found.facts[0].facts if found.facts else {}
    if fact not in facts:
        what = f"learns {fact}, which is no fact"
        yield document.fault("F050", path, what, "Add it to facts.yaml.")
    elif "{" not in str(value):
        yield from _possible(path, fact, fact_value(_words(value)), facts[fact], document)


def _words(value: bool | int | str) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _flow_exists(
    path: Path, name: str | None, document: Document, flows: set[str]
) -> Iterator[Fault]:
    if name and name not in flows:
        what, mend = f"no conversation {name}", f"Add talks/{name}.yaml, or check the spelling."
        yield document.fault("F053", path, what, mend)


def prompt_links(found: Shelf) -> Iterator[Fault]:
    """The protocols: each prompt's flow, facts, sources and time."""
    flows = {model.flow for model, _ in found.talks}
    for model, document in found.protocols:
        seen: set[str] = set()
        for place, prompt in enumerate(model.prompts):
            path: Path = ("prompts", place)
            if prompt.id in seen:
                what = f"two prompts have the id {prompt.id}"
                yield document.fault("F055", path, what, "Rename one of them.")
            seen.add(prompt.id)
            yield from _flow_exists(path, prompt.flow, document, flows)
            yield from _flow_exists(path, prompt.evening_flow, document, flows)
            yield from sources_exist(path, prompt.sources, document, found)
            yield from tests_exist((*path, "only_if"), prompt.only_if, document, found)
            yield from tests_exist((*path, "not_if"), prompt.not_if, document, found)
            yield from _when((*path, "when"), prompt, document)


def _when(path: Path, prompt: PromptModel, document: Document) -> Iterator[Fault]:
    when: WhenModel = prompt.when
    daily = when.from_day is not None or when.to_day is not None
    if when.anchor in CALENDAR:
        if (when.at is None) == (when.minutes == 0):  # minutes: before the arrival on that day
            what = f"{when.anchor} counts days, at a time of day"
            yield document.fault("F056", path, what, 'Write days and at: "09:00", no minutes.')
    elif when.at is not None or when.days or daily:
        what = f"{when.anchor} counts elapsed minutes"
        yield document.fault("F056", path, what, "Write minutes, no days and no at.")
    if daily and (when.from_day is None or when.to_day is None or when.from_day > when.to_day):
        what = "from_day and to_day give no span of days"
        yield document.fault("F056", path, what, "Give both, the earlier day first.")
    if prompt.time_critical and prompt.priority == "teaching":
        what = "a teaching prompt may not go out in quiet hours"
        yield document.fault("F057", path, what, "Raise its priority, or drop time_critical.")


def reason_links(found: Shelf) -> Iterator[Fault]:
    """The escalation reasons: their flows and sources."""
    if found.escalations is None:
        return
    model, document = found.escalations
    flows = {talk.flow for talk, _ in found.talks}
    for name, reason in model.reasons.items():
        path: Path = ("reasons", name)
        yield from _flow_exists(path, reason.flow, document, flows)
        yield from sources_exist(path, reason.sources, document, found)
