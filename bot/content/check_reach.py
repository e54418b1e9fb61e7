"""Checks that every condition can hold for some patient, and that no alarm ends unheard."""

from collections.abc import Iterator, Mapping
from itertools import islice, product

from bot.content.check_links import FROM_THE_ENGINE
from bot.content.compiling import fact_tests
from bot.content.document import Document, Key
from bot.content.faults import Fault
from bot.content.load import Shelf
from bot.content.schema import RangeModel, TalkModel, Tests
from bot.content.schema_practice import FactModel
from bot.core.dialogue_replies import ALARM_KEYS
from bot.core.facts import all_hold
from bot.core.protocol import FactTest, FactValue

MOST = 4096  # combinations of facts that are tried for one place
OTHER = "(something else)"
Path = tuple[Key, ...]


def reach_faults(talk: TalkModel, document: Document, found: Shelf) -> Iterator[Fault]:
    """Arms of a branch that no patient can take, and alarms that end without a nurse."""
    facts = found.facts[0].facts if found.facts else {}
    for name, state in talk.states.items():
        arms = [fact_tests(arm.tests) for arm in state.branch]
        taken = _taken(arms, _values([arm.tests for arm in state.branch], facts))
        for place in set(range(len(arms))) - taken:
            what = f"no patient can take way {place + 1} out of {name}: an earlier way takes all"
            mend = "Put the narrower condition first, or take this way out."
            yield document.fault("F059", ("states", name, "branch", place), what, mend)
    if talk.flow not in opened_by_alarms(found):
        yield from _unheard(talk, document)
    yield from _dead_waits(talk, document)


def opened_by_alarms(found: Shelf) -> frozenset[str]:
    """Conversations that an escalation opens: a nurse is told before they say a word."""
    reasons = found.escalations[0].reasons.values() if found.escalations else ()
    return frozenset(reason.flow for reason in reasons if reason.flow)


def prompt_reach_faults(found: Shelf) -> Iterator[Fault]:
    """Prompts whose conditions exclude every patient."""
    facts = found.facts[0].facts if found.facts else {}
    for model, document in found.protocols:
        for place, prompt in enumerate(model.prompts):
            wanted, unwanted = fact_tests(prompt.only_if), fact_tests(prompt.not_if)
            people = _values([prompt.only_if, prompt.not_if], facts)
            if not any(_gets(wanted, unwanted, person) for person in people):
                what = f"no patient can get the prompt {prompt.id}: its conditions exclude all"
                mend = "Compare only_if with not_if, and with the values in facts.yaml."
                yield document.fault("F059", ("prompts", place), what, mend)


def _gets(
    wanted: tuple[FactTest, ...], unwanted: tuple[FactTest, ...], person: Mapping[str, FactValue]
) -> bool:
    return all_hold(wanted, person) and not any(all_hold((test,), person) for test in unwanted)


def _taken(arms: list[tuple[FactTest, ...]], people: Iterator[dict[str, FactValue]]) -> set[int]:
    taken: set[int] = set()
    for person in people:
        taken |= set(islice((n for n, tests in enumerate(arms) if all_hold(tests, person)), 1))
        if len(taken) == len(arms):
            break
    return taken


def _values(tests: list[Tests], facts: Mapping[str, FactModel]) -> Iterator[dict[str, FactValue]]:
    """Every combination of the values that could tell the conditions apart."""
    names = list(dict.fromkeys(name for each in tests for name in each))
    choices = [_choices(name, tests, facts.get(name)) for name in names]
    for values in islice(product(*choices), MOST):
        yield dict(zip(names, values, strict=True))


def _choices(name: str, tests: list[Tests], fact: FactModel | None) -> list[FactValue]:
    named: list[FactValue] = []
    for each in tests:
        test = each.get(name)
        if isinstance(test, RangeModel):
            edges = [edge for edge in (test.at_least, test.below) if edge is not None]
            named += [value for edge in edges for value in (edge - 1, edge)]
        else:
            named += test or []
    if fact is not None and fact.values:
        return list(fact.values)
    if (fact is not None and fact.kind == "bool") or (fact is None and name in FROM_THE_ENGINE):
        named += [True, False]
    return [*dict.fromkeys(named), OTHER] if fact is None or fact.kind != "bool" else [True, False]


def _unheard(talk: TalkModel, document: Document) -> Iterator[Fault]:
    """From a reply that names a symptom, every way to an end passes an escalation."""
    for name, state in talk.states.items():
        for key, reply in state.replies.items():
            if key in ALARM_KEYS and reply.escalate is None and _slips(talk, reply.go, set()):
                what = f"after {key} in {name} the talk can end without telling a nurse"
                mend = "Put escalate in every state on the way, before it ends or asks."
                yield document.fault("F063", ("states", name, "replies", key), what, mend)


def _slips(talk: TalkModel, name: str | None, seen: set[str]) -> bool:
    """True when some way from this state ends before anything escalates."""
    state = talk.states.get(name or "")
    if state is None or name is None or name in seen or state.escalate is not None:
        return name is None  # the question stays open: its own reply told nobody
    if state.end is not None:
        return True
    onward = [state.go] if state.go else [arm.go for arm in state.branch]
    onward += [reply.go for reply in state.replies.values() if reply.escalate is None and reply.go]
    return any(_slips(talk, target, seen | {name}) for target in onward)


def _dead_waits(talk: TalkModel, document: Document) -> Iterator[Fault]:
    for name, state in talk.states.items():
        for key, reply in state.replies.items():
            if reply.go is None and reply.say is None and not reply.wait:
                what = f"the reply {key} in {name} gets no answer and leads nowhere"
                mend = "Give it go, or say with wait."
                yield document.fault("F064", ("states", name, "replies", key), what, mend)
        silence = state.silence
        if silence is not None and silence.nurse_after is not None and silence.escalate is None:
            what = f"after silence in {name} a nurse is named, but for no reason"
            mend = "Add escalate to silence, or take nurse_after out."
            yield document.fault("F065", ("states", name, "silence"), what, mend)
        if silence is not None and silence.nudges == 0:
            what = f"the question {name} is never asked again"
            yield document.fault("F066", ("states", name, "silence"), what, "Use nudges: 1.")
