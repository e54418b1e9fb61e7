"""The finite-state machine under each flow. The only module that imports `transitions`.

One machine is built per flow, once, when the content is loaded. A turn runs it with a light model
that carries the state's name and the facts, so that nothing of a turn outlives the turn.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import cast

from transitions import EventData, Machine

from bot.core.facts import all_hold
from bot.core.flow import Flow, FlowBook, State
from bot.core.protocol import FactTest, FactValue

ONWARD = "onward"  # trigger of a state that does not wait


@dataclass(slots=True)
class _Turn:
    """The model of one move: where the conversation stands and what is known."""

    state: str
    facts: Mapping[str, FactValue]


def build(flow: Flow) -> Machine:
    """Make the flow's machine: its states, and one transition per reply or branch."""
    return Machine(
        model=None,
        states=list(flow.states),
        transitions=[move for state in flow.states.values() for move in _moves(state)],
        initial=flow.start,
        auto_transitions=False,
        send_event=True,
        ignore_invalid_triggers=True,
    )


def machine_of(book: FlowBook, flow: Flow) -> Machine:
    """The machine built at load; built here for a book that was put together by hand."""
    found = book.machines.get(flow.name)
    return found if isinstance(found, Machine) else build(flow)


def next_state(
    machine: Machine, state: str, trigger: str, facts: Mapping[str, FactValue]
) -> str | None:
    """Let the machine decide the next state; None when the trigger is not expected here.

    A reply that keeps the question open gives the same state back.
    """
    event = machine.events.get(trigger)
    moves = event.transitions.get(state) if event is not None else None
    if event is None or not moves:
        return None
    if not moves[0].conditions:  # nothing to decide: the first move of the table is made
        return str(moves[0].dest or state)
    turn = _Turn(state, facts)
    return turn.state if event.trigger(turn) else None


def reply_trigger(key: str) -> str:
    """Name of the trigger for one reply key; apart from `onward`, whatever the key."""
    return f"reply:{key}"


def _moves(state: State) -> Iterator[dict[str, object]]:
    for key, reply in state.replies.items():
        yield {"trigger": reply_trigger(key), "source": state.id, "dest": reply.go}
    for tests, target in state.branch:
        condition = partial(_branch_holds, tests)
        yield {"trigger": ONWARD, "source": state.id, "dest": target, "conditions": condition}
    if state.go is not None:
        yield {"trigger": ONWARD, "source": state.id, "dest": state.go}


def _branch_holds(tests: tuple[FactTest, ...], event: EventData) -> bool:
    return all_hold(tests, cast(_Turn, event.model).facts)
