"""The YAML reader: YAML 1.2's meaning of plain scalars (section 10.3.2), and the line of each key."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from bot.content.yaml_tree import TreeFault, line_of, tree

FLOWS = Path(__file__).parents[2] / "flows"
SCALARS = {
    "no": "no", "on": "on", "yes": "yes", "true": True, "False": False, "~": None, "null": None,
    "12": 12, "-3": -3, "0x1f": 31, "0o17": 15, "012": 12, "1.5": 1.5, "1e3": 1000.0,
    "2027-11-01": "2027-11-01", "08:00": "08:00", '"12"': "12", "'true'": "true", "1_000": "1_000",
}  # fmt: skip


@pytest.mark.parametrize("text", SCALARS)
def test_a_scalar_means_what_yaml_1_2_says(text: str) -> None:
    found = tree(f"a: {text}")["a"]
    assert (found, type(found)) == (SCALARS[text], type(SCALARS[text]))


@pytest.mark.parametrize("path", sorted(FLOWS.rglob("*.yaml")), ids=lambda p: p.name)
def test_every_content_file_reads_as_a_second_reader_of_yaml_1_2_reads_it(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert tree(text) == dated_as_words(YAML(typ="safe", pure=True).load(text))


def dated_as_words(node: object) -> object:
    """ruamel.yaml still makes dates, which YAML 1.2 does not have."""
    if isinstance(node, dict):
        return {key: dated_as_words(value) for key, value in node.items()}
    if isinstance(node, list):
        return [dated_as_words(value) for value in node]
    return node.isoformat() if hasattr(node, "isoformat") else node


def test_each_key_and_item_knows_its_line() -> None:
    found = tree("a: 1\nb:\n  - x\n\n  - {c: 2,\n     d: 3}\n")
    assert [line_of(found, key) for key in ("a", "b", "z")] == [1, 2, None]
    assert [line_of(found["b"], place) for place in (0, 1, 2)] == [3, 5, None]
    assert line_of(found["b"][1], "d") == 6


@pytest.mark.parametrize(
    ("text", "line", "words", "repeated"),
    [
        ("a: 1\nb: 2\na: 3", 3, 'two of the same key "a"', True),
        ("a: 1\nb: [1, 2\nc: 3", 3, "expected", False),
        ("a: 1\n b: 2", 2, "not allowed", False),
        ("a: 'open", 1, "end of stream", False),
        ("? [1, 2]\n: x", 1, "a list or mapping as a key", False),
    ],
)
def test_what_is_no_tree_is_told_with_its_line(text, line, words, repeated) -> None:
    with pytest.raises(TreeFault) as caught:
        tree(text)
    assert (caught.value.line, caught.value.repeated) == (line, repeated)
    assert words in caught.value.problem


@given(st.text(max_size=60))
def test_any_text_is_a_tree_or_a_fault(text: str) -> None:
    found = None
    try:
        tree(text)
    except TreeFault as fault:
        found = fault
    assert found is None or (found.line >= 1 and found.problem)
