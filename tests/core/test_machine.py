"""The machine under each flow decides the next state, and says when something is not expected."""

import pytest
from dialogue_samples import shipped_book

from bot.core.flow import Flow, Reply, State
from bot.core.machine import ONWARD, build, machine_of, next_state, reply_trigger
from bot.core.protocol import FactTest
from bot.reading.reading import Asked

FLOW = Flow(
    name="small",
    title="Small",
    start="which",
    states={
        "which": State(
            "which",
            branch=(((FactTest("joint", ("knee",)),), "knee"), ((), "hip")),
        ),
        "knee": State("knee", end="knee"),
        "hip": State("hip", go="ask"),
        "ask": State(
            "ask",
            asked=Asked.YES_NO,
            replies={"affirm": Reply(go="knee"), "deny": Reply(say="well")},
        ),
    },
    wording={},
    labels={},
)


@pytest.mark.parametrize(("joint", "to"), [("knee", "knee"), ("hip", "hip")])
def test_the_first_arm_whose_condition_holds_is_taken(joint: str, to: str) -> None:
    assert next_state(build(FLOW), "which", ONWARD, {"joint": joint}) == to


def test_a_reply_leads_on_or_stays() -> None:
    machine = build(FLOW)
    assert next_state(machine, "ask", reply_trigger("affirm"), {}) == "knee"
    assert next_state(machine, "ask", reply_trigger("deny"), {}) == "ask"


@pytest.mark.parametrize(
    ("state", "trigger"),
    [("knee", "reply:affirm"), ("ask", "reply:done"), ("ask", ONWARD), ("nowhere", ONWARD)],
)
def test_what_is_not_expected_here_is_none(state: str, trigger: str) -> None:
    assert next_state(build(FLOW), state, trigger, {}) is None


def test_one_machine_serves_many_turns_without_remembering_any() -> None:
    machine = build(FLOW)
    first = next_state(machine, "which", ONWARD, {"joint": "knee"})
    assert next_state(machine, "which", ONWARD, {"joint": "hip"}) == "hip"
    assert first == "knee"
    assert machine.models == []


def test_machines_are_built_once_when_the_content_is_loaded() -> None:
    book = shipped_book()
    flow = book.flows["wash"]
    assert machine_of(book, flow) is machine_of(book, flow)
