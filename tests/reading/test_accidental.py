"""One word out of place in a long reply is no answer, and what follows a story is no story."""

import pytest

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        (
            "los nietos trajeron un pastel de chocolate de la tienda equivocada y nos reimos",
            Asked.NONE,
        ),
        (
            "ayer comimos arroz con pollo como en la boda de mi nieta y vimos fotos viejas",
            Asked.NONE,
        ),
    ],
)
def test_one_stray_word_of_a_long_story_is_unclear(
    text: str, asked: Asked, lexicon: Lexicon
) -> None:
    assert read(text, asked, lexicon).act is Act.UNCLEAR


@pytest.mark.parametrize(
    ("text", "act"),
    [
        ("wrong number", Act.WRONG_NUMBER),
        ("no the grandchildren were over and we baked a cake and went for a drive", Act.DENY),
        (
            "we baked a cake today nurse and so how many hours before must I stop eating?",
            Act.QUESTION,
        ),
    ],
)
def test_an_answer_said_first_or_asked_outright_stays(
    text: str, act: Act, lexicon: Lexicon
) -> None:
    assert read(text, Asked.YES_NO, lexicon).act is act


@pytest.mark.parametrize(
    "text",
    [
        "i was watching the ball game and my chest got tight and it went down my arm",
        "estaba viendo la novela y a mi marido se le cae la boca de lado",
        "viendo la tele, me dio un dolor fuerte en el pecho",
    ],
)
def test_an_emergency_told_after_a_story_is_seen(text: str, lexicon: Lexicon) -> None:
    assert read(text, Asked.NONE, lexicon).act is Act.EMERGENCY


def test_an_emergency_inside_a_story_is_not_the_patients(lexicon: Lexicon) -> None:
    text = "watching a show where the sheriff had chest pain"
    assert not read(text, Asked.NONE, lexicon).alert
