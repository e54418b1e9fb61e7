"""Choices in a sentence, a yes about help at home, and what is passed on by another."""

import pytest

from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked

LEXICON = load_lexicon()


@pytest.mark.parametrize(
    ("text", "picks"),
    [
        ("put me down for 2", (2,)),
        ("I'd go with the third", (3,)),
        ("yo diría que la 1", (1,)),
        ("apúnteme la 2", (2,)),
    ],
)
def test_a_choice_is_read_out_of_a_sentence(text: str, picks: tuple[int, ...]) -> None:
    reading = read(text, Asked.CHOICE, LEXICON)
    assert (reading.act, reading.choices, reading.alert) == (Act.CHOICE, picks, False)


@pytest.mark.parametrize("text", ["2 but I have the flu", "la 1, y estoy con diarrea"])
def test_a_choice_hides_no_symptom(text: str) -> None:
    assert read(text, Asked.CHOICE, LEXICON).alert


@pytest.mark.parametrize(
    ("text", "act"),
    [
        ("I got a ride lined up", Act.AFFIRM),
        ("va a venir mi hermana", Act.AFFIRM),
        ("nobody lives with me", Act.DENY),
        ("todavía no consigo a nadie", Act.DENY),
    ],
)
def test_help_at_home_is_a_yes_or_a_no(text: str, act: Act) -> None:
    assert read(text, Asked.YES_NO, LEXICON).act is act


def test_help_at_home_is_no_yes_to_symptoms() -> None:
    assert not read("I got a ride lined up", Asked.SYMPTOM_CHECK, LEXICON).alert


def test_what_is_passed_on_is_told_not_asked() -> None:
    assert read("que nomás tiene calentura", Asked.SYMPTOM_CHECK, LEXICON).alert


def test_two_washes_are_no_ache() -> None:
    reading = read("twice now, hair too, skin squeaks", Asked.WASH, LEXICON)
    assert (reading.act, reading.alert) == (Act.DONE, False)
