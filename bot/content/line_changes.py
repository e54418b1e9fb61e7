"""What differs between two texts, line by line, as a reader wants to see it."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import zip_longest


@dataclass(frozen=True, slots=True)
class LineChange:
    """One line that differs. `kind` is "changed", "new" or "gone"; numbers count from 1."""

    kind: str
    before: str = ""
    after: str = ""
    before_line: int | None = None
    after_line: int | None = None


def line_changes(before: str, after: str) -> Iterator[LineChange]:
    """Every line that was changed, added or taken out, from the top."""
    old, new = before.splitlines(), after.splitlines()
    for tag, i, j, k, m in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag != "equal":
            for place, fresh in zip_longest(range(i, j), range(k, m)):
                yield _change(old, new, place, fresh)


def _change(old: list[str], new: list[str], place: int | None, fresh: int | None) -> LineChange:
    if place is None and fresh is not None:
        return LineChange("new", after=new[fresh], after_line=fresh + 1)
    if fresh is None and place is not None:
        return LineChange("gone", before=old[place], before_line=place + 1)
    first, second = place or 0, fresh or 0
    return LineChange("changed", old[first], new[second], first + 1, second + 1)
