"""Content files become the core's values, whole or not at all."""

from datetime import time
from pathlib import Path

import pytest
from content_samples import sound, spoil

from bot.content.faults import ContentFaults
from bot.content.load import load_book, load_protocols, load_rules
from bot.core.flow import Reply, Silence
from bot.core.protocol import FactTest, Priority
from bot.reading.reading import Asked

SHIPPED = Path(__file__).parents[2] / "flows"


def test_a_talk_is_read_as_written(tmp_path: Path) -> None:
    flow = load_book(sound(tmp_path)).flows["wash"]
    ask = flow.states["ask"]
    assert (flow.priority, flow.start, flow.health) == (Priority.TIME_CRITICAL, "gate", False)
    assert (ask.asked, ask.choices) == (Asked.WASH, ("done", "later"))
    assert ask.replies["later"] == Reply(say="later_ok", wait_minutes=60)
    assert ask.silence == Silence(90, 1, 60, 60, "silent")
    assert flow.states["thanks"].record == (("wash_{n}", "done"),)
    assert flow.states["gate"].branch[0] == ((FactTest("smoker", (True,)),), "ask")
    assert ask.source_line == 13


def test_a_revision_changes_with_the_words_and_only_then(tmp_path: Path) -> None:
    root = sound(tmp_path)
    before = load_book(root).flows
    spoil(root, "talks/wash.yaml", "Thank you.", "Thanks.")
    after = load_book(root).flows
    assert after["wash"].revision != before["wash"].revision
    assert after["system"].revision == before["system"].revision


def test_a_protocol_has_the_prompts_of_its_base_first(tmp_path: Path) -> None:
    protocols = load_protocols(sound(tmp_path))
    prompt = protocols["knee"].prompts[0]
    assert (prompt.id, prompt.window_minutes, prompt.when.at) == ("wash", 300, time(17))
    assert prompt.only_if == (
        FactTest("joint", ("hip", "knee")),
        FactTest("age", at_least=18),
    )


def test_a_surgeons_rules_replace_only_what_they_name(tmp_path: Path) -> None:
    root = sound(tmp_path)
    base, marsh = load_rules(root), load_rules(root, "marsh")
    assert (base.wash_days, marsh.wash_days) == ((-2, -1, 0), (-1, 0))
    assert marsh.surgeon == "Dr. Leonie Marsh"
    assert marsh.phones == base.phones
    assert marsh.hours.days[0] == (time(8), time(16, 30))


def test_a_surgeons_rules_never_take_the_other_language_name_of_another(tmp_path: Path) -> None:
    root = sound(tmp_path)
    rules = root / "rules"
    own = 'values: {value: {surgeon_es: "Dra. Ana Quill", code: "AC"}, sources: [our-choice]}\n'
    with (rules / "default.yaml").open("a", encoding="utf-8") as file:
        file.write(own)
    assert load_rules(root, "marsh").values == {"code": "AC"}
    with (rules / "surgeons" / "marsh.yaml").open("a", encoding="utf-8") as file:
        file.write(own.replace("Ana Quill", "Leonie Marsh"))
    assert load_rules(root, "marsh").values["surgeon_es"] == "Dra. Leonie Marsh"


def test_a_surgeon_without_rules_is_named_in_the_fault(tmp_path: Path) -> None:
    with pytest.raises(ContentFaults, match=r"nobody\.yaml"):
        load_rules(sound(tmp_path), "nobody")


def test_nothing_is_loaded_when_anything_is_wrong(tmp_path: Path) -> None:
    root = sound(tmp_path)
    spoil(root, "talks/wash.yaml", "nudges: 1", "nudgez: 1")
    spoil(root, "facts.yaml", "kind: bool", "kind: boolean")
    with pytest.raises(ContentFaults) as caught:
        load_book(root)
    assert {fault.file for fault in caught.value.faults} == {
        "flows/talks/wash.yaml",
        "flows/facts.yaml",
    }


def test_yaml_words_keep_their_meaning(tmp_path: Path) -> None:
    """YAML 1.2: `no` and `on` are words, not false and true."""
    root = sound(tmp_path)
    path = root / "talks" / "wash.yaml"
    text = path.read_text().replace("later: {say", "no: {say").replace("  later: {en", "  no: {en")
    path.write_text(text.replace("[done, later]", "[done, no]"))
    assert load_book(root).flows["wash"].states["ask"].choices == ("done", "no")


def test_the_shipped_content_loads_with_its_languages_and_surgeons() -> None:
    book = load_book(SHIPPED)
    assert book.languages[:2] == ("en", "es")
    assert book.fact_defaults["smoker"] is False
    assert set(book.machines) == {name for name, flow in book.flows.items() if flow.states}
    protocols = load_protocols(SHIPPED)
    flows = {prompt.flow for protocol in protocols.values() for prompt in protocol.prompts}
    assert flows <= set(book.flows)
    for path in (SHIPPED / "rules" / "surgeons").glob("*.yaml"):
        assert load_rules(SHIPPED, path.stem).surgeon != load_rules(SHIPPED).surgeon
