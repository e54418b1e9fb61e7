"""Content as one value: named by its text, laid out again, compared file by file."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from bot.content.snapshot import changed_files, laid_out, revision_of, snapshot

FILES = st.dictionaries(st.text("abc/", min_size=1, max_size=5), st.text(max_size=5), max_size=4)


def test_what_is_laid_out_is_what_was_taken(tmp_path: Path) -> None:
    files = {"facts.yaml": "facts: {}\n", "talks/wash.yaml": "flow: wash\n# ñ\n"}
    with laid_out(files) as root:
        assert root.name == "flows"
        assert snapshot(root).files == files
    assert not root.exists()


@given(FILES, FILES)
def test_two_contents_have_one_name_exactly_when_they_are_the_same(one, two) -> None:
    assert (revision_of(one) == revision_of(two)) == (one == two)


@given(FILES, FILES)
def test_the_changed_files_are_those_that_differ_in_either_direction(one, two) -> None:
    changed = changed_files(one, two)
    assert changed == changed_files(two, one)
    assert {n: one.get(n) for n in changed} != {n: two.get(n) for n in changed} or not changed
    assert all(one[n] == two[n] for n in one.keys() & two.keys() - set(changed))
