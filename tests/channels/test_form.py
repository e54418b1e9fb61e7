"""The form of a message on each channel."""

from hypothesis import given
from hypothesis import strategies as st

from bot.channels.base import DeliveryState, Outgoing, moves_forward
from bot.channels.form import button_rows, chosen, cut, numbered


def test_by_sms_choices_are_numbered_and_signs_are_plain() -> None:
    outgoing = Outgoing("k", "a", "Don’t eat – did you wash?", ("Done", "I’ll do it later"))
    assert numbered(outgoing) == "Don't eat - did you wash?\n1 Done\n2 I'll do it later"


def test_buttons_stand_one_a_row_and_long_labels_are_shortened() -> None:
    rows = button_rows(("Done", "x" * 70))
    assert [len(row) for row in rows] == [1, 1]
    assert rows[0] == ("Done",)
    assert len(rows[1][0]) == 64


def test_the_choice_is_shown_under_the_message() -> None:
    assert chosen("Did you wash?", "Done") == "Did you wash?\n\n> Done"


@given(st.text(st.sampled_from("ab \n"), max_size=200), st.integers(5, 50))
def test_pieces_keep_every_letter_and_the_limit(text: str, limit: int) -> None:
    pieces = cut(text, limit)
    assert all(len(piece) <= limit for piece in pieces)
    assert "".join("".join(pieces).split()) == "".join(text.split())


def test_a_delivery_state_only_moves_forward() -> None:
    sent, lost, there = (
        DeliveryState.SENT, DeliveryState.UNDELIVERED, DeliveryState.DELIVERED,
    )  # fmt: skip
    order = [None, sent, lost, there]
    for old_place, old in enumerate(order):
        for new_place, new in enumerate(order[1:], start=1):
            assert moves_forward(old, new) is (new_place > old_place)  # type: ignore[arg-type]
