"""Whether offered replies are understood: judged with the reader that patients meet."""

from pathlib import Path

import pytest

from bot.content.check_replies import reply_faults, understood
from bot.content.check_speech import reader_of
from bot.content.document import Document
from bot.core.flow import Flow, FlowBook, Reason, Reply, State
from bot.core.protocol import OfficeHours, Phones, Priority, Rules
from bot.reading.reading import Asked

FLOWS = Path(__file__).parents[2] / "flows"
READ = reader_of(FLOWS)
RULES = Rules("H", "S", Phones("1", "2", "3"), OfficeHours({}))
REASONS = {name: Reason(name, name, "urgent", "alarm_symptom") for name in ("fever", "unwell")}


def flow(asked: Asked, replies: dict[str, str], labels: dict[str, tuple[str, str]]) -> Flow:
    """A question whose replies lead to the states named; labels in English and Spanish."""
    ask = State("ask", "ask", asked, tuple(labels), {k: Reply(go) for k, go in replies.items()})
    ends = {go: State(go, end=go) for go in replies.values()}
    told = {key: {"en": en, "es": es} for key, (en, es) in labels.items()}
    return Flow("f", "F", "ask", {"ask": ask, **ends}, {}, told, priority=Priority.SAFETY)


def faults(tried: Flow) -> list[str]:
    book = FlowBook({"f": tried}, REASONS)
    return [
        f.what for f in reply_faults(tried, Document("flows/talks/f.yaml", {}), book, RULES, READ)
    ]


def test_plain_replies_to_a_plain_question_are_all_understood():
    labels = {"affirm": ("Yes", "Sí"), "deny": ("No", "No")}
    assert faults(flow(Asked.YES_NO, {"affirm": "good", "deny": "bad"}, labels)) == []


def test_a_yes_that_the_reader_takes_for_done_is_a_fault_when_another_state_follows():
    """A yes to "next step?" must never confirm a wash."""
    labels = {"next": ("Next step", "Siguiente paso"), "done": ("Done", "Hecho")}
    replies = {"next": "step", "done": "over", "affirm": "step"}
    found = faults(flow(Asked.WASH, replies, labels))
    assert any('"yes" (en)' in what and "means done, not affirm" in what for what in found)
    assert faults(flow(Asked.CHOICE, replies, labels)) == []


def test_two_keys_with_the_same_consequence_may_stand_for_each_other():
    labels = {"done": ("Done", "Hecho")}
    assert faults(flow(Asked.WASH, {"done": "over", "affirm": "over"}, labels)) == []


def test_one_label_for_two_choices_is_understood_as_neither():
    labels = {"sooner": ("Maybe", "Quizás"), "later": ("Maybe", "Quizás")}
    found = faults(flow(Asked.CHOICE, {"sooner": "a", "later": "b"}, labels))
    assert len(found) >= 2
    assert all("aybe" in what or "uiz" in what for what in found)


@pytest.mark.parametrize("text", ["I have a fever", "fever since last night"])
def test_an_alarm_is_heard_before_any_choice(text: str):
    tried = flow(Asked.CHOICE, {"later": "b"}, {"later": ("Later", "Luego")})
    reading = READ(text, Asked.CHOICE, "en")
    book = FlowBook({"f": tried}, REASONS)
    assert understood(book, tried, tried.states["ask"], reading, text, RULES) == "an alarm"
