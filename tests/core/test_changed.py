"""A changed copy is the very one that `dataclasses.replace` gives, and the old value stays."""

import dataclasses
from datetime import UTC, datetime

import pytest

from bot.core.changed import replace
from bot.core.conversation import Conversation, OpenQuestion

ASKED = OpenQuestion("wash", "r1", "ask", datetime(2027, 3, 1, 9, tzinfo=UTC), values={"n": "1"})


@pytest.mark.parametrize(
    "changes", [{}, {"nudges": 2}, {"rung": "coach", "rung_at": None, "values": {}}]
)
def test_it_gives_what_dataclasses_gives(changes):
    before = dataclasses.replace(ASKED)
    assert replace(ASKED, **changes) == dataclasses.replace(ASKED, **changes)
    assert before == ASKED


def test_a_field_that_is_not_there_is_refused():
    with pytest.raises(KeyError):
        replace(Conversation(), mood="good")


def test_what_a_value_makes_at_birth_is_made_anew():
    @dataclasses.dataclass(frozen=True, slots=True)
    class Kept:
        name: str
        found: dict = dataclasses.field(init=False, default_factory=dict)

    first = Kept("one")
    first.found["x"] = 1
    assert replace(first, name="two").found == {}
