"""Checks on the shape of a conversation: every state reached, every state left, nothing waits dead.

Each check yields faults; together they are what `countdown check` says about one talk file.
"""

from collections.abc import Iterable, Iterator

from bot.content.document import Document
from bot.content.faults import Fault
from bot.content.load import targets
from bot.content.schema import StateModel, TalkModel
from bot.core.dialogue_replies import ANY, MEANS
from bot.reading.reading import Act

SYMPTOMS_BY_ENGINE = frozenset({Act.EMERGENCY, Act.SELF_HARM, Act.OPT_OUT, Act.EXPOSURE})
KNOWN_KEYS = frozenset(act.value for act in Act) | {k for keys in MEANS.values() for k in keys}


def shape_faults(talk: TalkModel, document: Document) -> Iterator[Fault]:
    """Everything wrong with the states of one talk."""
    yield from _unreached(talk, document)
    for name, state in talk.states.items():
        if state.asked is None:
            yield from _passing(name, state, document)
        else:
            yield from _waiting(name, state, document)
    yield from _endless(talk, document)
    yield from _rings(talk, document)


def onward(state: StateModel) -> tuple[str, ...]:
    """The states that may follow this one."""
    replies = tuple(reply.go for reply in state.replies.values() if reply.go is not None)
    arms = tuple(arm.go for arm in state.branch)
    return (*replies, *arms, *((state.go,) if state.go is not None else ()))


def reached(talk: TalkModel, starts: Iterable[str]) -> set[str]:
    """Every state that can be reached from `starts`, they themselves included."""
    seen: set[str] = set()
    todo = [name for name in starts if name in talk.states]
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo.extend(to for to in onward(talk.states[name]) if to in talk.states)
    return seen


def _unreached(talk: TalkModel, document: Document) -> Iterator[Fault]:
    found = reached(talk, [talk.start] if talk.start else [])
    for name in talk.states:
        if name not in found:
            what, mend = f"nothing leads to the state {name}", "Lead to it, or take it out."
            yield document.fault("F030", ("states", name), what, mend)


def _passing(name: str, state: StateModel, document: Document) -> Iterator[Fault]:
    """A state that does not wait goes on by exactly one way, or ends."""
    path = ("states", name)
    ways = sum((state.go is not None, bool(state.branch), state.end is not None))
    if ways == 0:
        what, mend = f"the state {name} goes nowhere", "Add go, branch, end, or asked."
        yield document.fault("F031", path, what, mend)
    if ways > 1:
        what, mend = f"the state {name} has more than one way on", "Keep go, branch or end."
        yield document.fault("F031", path, what, mend)
    if state.branch and all(arm.tests for arm in state.branch):
        what = f"the branch of {name} has no way for the others"
        yield document.fault("F032", path, what, "Add a last arm without `if`.")
    if state.replies or state.choices or state.silence:
        what = f"the state {name} has replies but does not wait for one"
        yield document.fault("F033", path, what, "Add asked, or take the replies out.")


def _waiting(name: str, state: StateModel, document: Document) -> Iterator[Fault]:
    """A state that waits has words, replies, and an end to the waiting."""
    path = ("states", name)
    if state.say is None:
        yield document.fault("F034", path, f"the question {name} says nothing", "Add say.")
    if not any(reply.go is not None for reply in state.replies.values()):
        what, mend = f"no reply leads out of the question {name}", "Give a reply a go."
        yield document.fault("F031", path, what, mend)
    if state.silence is None:
        what, mend = f"the question {name} has no rule for silence", "Add silence."
        yield document.fault("F035", path, what, mend)
    if state.go is not None or state.branch or state.end is not None:
        what = f"the question {name} also goes on by itself"
        yield document.fault("F033", path, what, "Take go, branch and end out, or asked.")
    yield from _replies(name, state, document)


def _replies(name: str, state: StateModel, document: Document) -> Iterator[Fault]:
    for choice in state.choices:
        if choice not in state.replies:
            what = f"the choice {choice} of {name} has no reply"
            yield document.fault("F036", ("states", name), what, f"Add {choice} under replies.")
    for key in state.replies:
        path = ("states", name, "replies", key)
        if key in {act.value for act in SYMPTOMS_BY_ENGINE}:
            what = f"{key} is an alarm or a stop, which works in every state"
            yield document.fault("F037", path, what, "Take this reply out.")
        elif key not in KNOWN_KEYS and key != ANY and key not in state.choices:
            what = f"nobody can give the reply {key}: it is not offered and not a known kind"
            yield document.fault("F038", path, what, "Add it to choices, or use a known kind.")


def _endless(talk: TalkModel, document: Document) -> Iterator[Fault]:
    """From every state some way leads to an end."""
    ends = {name for name, state in talk.states.items() if state.end is not None}
    for name in talk.states:
        if not reached(talk, [name]) & ends:
            what, mend = f"no way leads from {name} to an end", "Lead to a state with end."
            yield document.fault("F039", ("states", name), what, mend)


def _rings(talk: TalkModel, document: Document) -> Iterator[Fault]:
    """States that pass on without waiting must not lead back to themselves."""
    for name in talk.states:
        here, steps = name, 0
        while here in talk.states and talk.states[here].go and steps <= len(talk.states):
            here, steps = str(talk.states[here].go), steps + 1
            if here == name:
                what = f"{name} comes back to itself without a question on the way"
                yield document.fault("F040", ("states", name), what, "Put a question on the way.")
                break


def alarm_faults(talk: TalkModel, document: Document, follow_up: str) -> Iterator[Fault]:
    """On every way, an alarm queues its follow-up before it asks anything or ends."""
    for name in sorted(_unprepared(talk, follow_up)):
        what = f"this alarm comes to {name} before it has queued {follow_up}: silence would end it"
        mend = f"Put `starts: [{{flow: {follow_up}, after: 60m}}]` in a state before."
        yield document.fault("F060", ("states", name), what, mend)


def _unprepared(talk: TalkModel, follow_up: str) -> set[str]:
    """First questions and ends that can be reached without the follow-up."""
    found: set[str] = set()
    seen: set[str] = set()
    todo = [talk.start or ""]
    while todo:
        name = todo.pop()
        state = talk.states.get(name)
        if state is None or name in seen:
            continue
        seen.add(name)
        if any(start.flow == follow_up for start in state.starts):
            continue
        if state.asked is not None or state.end is not None:
            found.add(name)
        else:
            todo.extend(onward(state))
    return found


__all__ = ["alarm_faults", "onward", "reached", "shape_faults", "targets"]
