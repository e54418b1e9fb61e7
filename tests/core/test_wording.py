"""Texts are filled in the reader's language; a value that nobody has never stops a message."""

from dialogue_samples import shipped_book

from bot.core.conversation import Say
from bot.core.wording import choice_labels, numbered, placeholders, say_text, topic

VALUES = {"first_name": "Rosalind", "wash_product": "antiseptic soap", "n": "9"}
WASH = Say("patient", "wash", "ask", {"n": "1", "of": "3"}, ("done", "later"))


def test_the_effects_own_values_win_over_the_patients() -> None:
    text = say_text(shipped_book(), WASH, VALUES, "en")
    assert "Rosalind" in text
    assert "wash 1 of 3" in text


def test_a_value_that_nobody_has_is_said_to_be_unknown_and_no_brace_is_left() -> None:
    text = say_text(shipped_book(), WASH, {}, "en")
    assert "{" not in text
    assert "not known yet" in text


def test_an_answer_is_said_as_it_is() -> None:
    say = Say("patient", "system", "answer", text="At {arrival_time}.")
    assert say_text(shipped_book(), say, {"arrival_time": "5:30 AM"}, "en") == "At 5:30 AM."


def test_choices_are_numbered_in_the_readers_language() -> None:
    labels = choice_labels(shipped_book(), WASH, "es")
    assert labels == ("Hecho", "Más tarde")
    assert numbered("¿Listo?", labels) == "¿Listo?\n1 Hecho\n2 Más tarde"


def test_a_copy_names_its_topic_when_the_flow_has_no_line_for_it() -> None:
    values = {"topic": "Antiseptic wash", "flow": "nothing"}
    assert topic(shipped_book(), values, "en") == "Antiseptic wash"
    assert topic(shipped_book(), {**values, "flow": "wash"}, "es") not in ("", "Antiseptic wash")


def test_placeholders_are_found_in_order() -> None:
    assert list(placeholders("{a} and {b_2} not {}")) == ["a", "b_2"]
