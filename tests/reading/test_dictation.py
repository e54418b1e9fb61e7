"""Dictated signs: "comma" is a sign where it cannot be a word of the sentence."""

import pytest

from bot.reading.dictation import written_as_signs

NUMBERS = {"treinta": 30.0, "seis": 6.0, "ocho": 8.0}


@pytest.mark.parametrize(
    ("said", "written"),
    [
        ("no fever comma no cough period", "no fever , no cough ."),
        ("me duele la garganta punto enviar", "me duele la garganta ."),
        ("can i eat question mark", "can i eat ?"),
        ("puedo comer signo de interrogacion", "puedo comer ?"),
        ("no coma fiebre no coma", "no , fiebre no ,"),
        ("all good exclamation point", "all good ."),
    ],
)
def test_a_dictated_sign_is_a_sign(said: str, written: str) -> None:
    assert written_as_signs(said.split(), NUMBERS) == written.split()


@pytest.mark.parametrize(
    "said",
    [
        "treinta y seis coma ocho",
        "98 punto 6",
        "he was in a coma",
        "me dijeron que no coma nada",
        "a las tres en punto",
        "estoy a punto de salir",
        "the waiting period",
        "i have a question",
        "send me the form",
    ],
)
def test_a_word_stays_a_word(said: str) -> None:
    assert written_as_signs(said.split(), NUMBERS) == said.split()
