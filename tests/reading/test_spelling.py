"""Typing errors on words that matter are mended, and words that are right are left alone."""

import pytest

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked


@pytest.mark.parametrize(
    "text",
    [
        "fevr",
        "feverrrr",
        "cuogh",
        "i hav a cogh",
        "vommiting",
        "diahrea",
        "nofever but coufh",
        "fievre",
    ],
)
def test_a_misspelt_alarm_is_heard(text: str, lexicon: Lexicon) -> None:
    assert read(text, Asked.SYMPTOM_CHECK, lexicon).alert


@pytest.mark.parametrize(
    "text",
    [
        "in a rush",
        "on the couch",
        "never ever",
        "brush my hair",
        "caught the bus",
        "though",
        "todos",
    ],
)
def test_a_word_that_only_looks_like_an_alarm_is_not_one(text: str, lexicon: Lexicon) -> None:
    assert not read(text, Asked.SYMPTOM_CHECK, lexicon).alert


def test_a_lookalike_counts_when_there_is_a_reason(lexicon: Lexicon) -> None:
    assert read("I have a bad couch", Asked.SYMPTOM_CHECK, lexicon).alert
    assert read("got a bad rush on my leg", Asked.SYMPTOM_CHECK, lexicon).alert


def test_a_lone_lookalike_leads_to_a_question(lexicon: Lexicon) -> None:
    assert read("couch", Asked.SYMPTOM_CHECK, lexicon).act is Act.UNCLEAR


@pytest.mark.parametrize("text", ["Mi tía está bien", "mi tia esta bien", "a tía le dio 36.7"])
def test_an_aunt_is_no_stroke(lexicon: Lexicon, text: str) -> None:
    assert not read(text, Asked.NONE, lexicon).alert


@pytest.mark.parametrize("text", ["TIA this morning", "she had a tia", "another TIA, the ER says"])
def test_a_tia_is_a_stroke(lexicon: Lexicon, text: str) -> None:
    assert read(text, Asked.NONE, lexicon).act is Act.EMERGENCY


@pytest.mark.parametrize(
    "text", ["no, feling fine", "none, burnign leaves in the yard", "no, en el parque con mi nieto"]
)
def test_a_slip_in_an_ordinary_word_is_no_alarm(text: str, lexicon: Lexicon) -> None:
    assert not read(text, Asked.SYMPTOM_CHECK, lexicon).alert
