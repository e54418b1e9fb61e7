"""How one item stands, from what was recorded and what was asked."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.content.load import load_protocols
from bot.core.readiness import Asking, Mark, Sign, columns, gravest, mark, marks
from bot.core.record import ItemStatus

NOW = datetime(2027, 3, 1, 15, tzinfo=UTC)
DAY = timedelta(days=1)
FLOWS = Path(__file__).resolve().parents[2] / "flows"


def asking(state: str, days: int, item: str = "ride") -> Asking:
    return Asking(item, state, NOW + days * DAY, NOW + (days + 2) * DAY)


def told(value: str, item: str = "ride") -> ItemStatus:
    return ItemStatus(item, value, "patient", NOW)


@pytest.mark.parametrize(
    ("recorded", "asked", "sign"),
    [
        ("done", ["sent", -9], Sign.DONE),
        ("all_clear", ["sent", -9], Sign.DONE),
        ("not_needed", ["planned", 3], Sign.NOT_NEEDED),
        ("not_done", ["planned", 3], Sign.LATE),
        ("held", ["sent", -1], Sign.LATE),
        ("later", ["sent", -1], Sign.WAITING),
        ("later", ["sent", -9], Sign.LATE),
        (None, ["planned", 3], Sign.WAITING),
        (None, ["sent", -1], Sign.WAITING),
        (None, ["sent", -3], Sign.LATE),
        (None, ["missed", -3], Sign.LATE),
        (None, ["skipped", -3], Sign.NOT_NEEDED),
        (None, ["cancelled", 3], Sign.WAITING),
    ],
)
def test_how_an_item_stands(recorded, asked, sign):
    found = mark(told(recorded) if recorded else None, [asking(*asked)], NOW)
    assert found.sign is sign
    assert found.word


def test_what_has_no_prompt_is_not_needed_unless_it_waits_for_the_start():
    assert mark(None, [], NOW).sign is Sign.NOT_NEEDED
    assert mark(None, [], NOW, waits=True).sign is Sign.WAITING


def test_a_second_question_to_come_outweighs_the_first_unanswered():
    assert mark(None, [asking("sent", -9), asking("planned", 2)], NOW).sign is Sign.WAITING


def test_of_two_medicines_the_gravest_counts():
    items = columns(load_protocols(FLOWS).values(), 3)
    done = {"stopped_apixaban": told("done"), "stopped_ibuprofen": told("not_done")}
    found = marks(items, done, [], NOW, start_known=True)
    assert found["stopped_medicine"].sign is Sign.LATE


def test_a_lesson_told_is_no_medicine():
    items = columns(load_protocols(FLOWS).values(), 3)
    found = marks(items, {}, [asking("sent", -9, "told_checks")], NOW, start_known=True)
    assert found["told_checks"].sign is Sign.LATE
    assert found["told_medicine"].sign is Sign.NOT_NEEDED


def test_every_wash_has_a_column_of_its_own():
    names = [column.name for column in columns(load_protocols(FLOWS).values(), 3)]
    assert [name for name in names if name.startswith("wash_")][-3:] == [
        "wash_1",
        "wash_2",
        "wash_3",
    ]
    assert len(names) == len(set(names))


@given(st.lists(st.sampled_from(Sign), min_size=1))
def test_late_is_never_hidden_by_anything_else(signs):
    found = gravest([Mark(sign, "x") for sign in signs])
    assert (found.sign is Sign.LATE) == (Sign.LATE in signs)
