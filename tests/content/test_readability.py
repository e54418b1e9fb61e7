"""The published formulas, on hand-counted words.

Hand-counted: the syllables below were counted by reading them aloud. The formulas' own constants
are from memory (see bot/content/readability.py). Hyphenation patterns (pyphen) give an independent
lower bound; test_reading_grade_agrees.py holds the index against another program's.
"""

import pyphen
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.content.readability import (
    Measure,
    automated_index,
    english,
    english_syllables,
    flesch_kincaid,
    perspicuity,
    spanish,
    spanish_syllables,
)

ENGLISH = """surgery:3 medicine:3 hospital:3 please:1 call:1 number:2 area:3 people:2 quiet:2 piano:3
every:2 clothes:1 asked:1 wanted:2 washes:2 nurse:1 table:2 little:2 coffee:2 science:2 idea:3
being:2 using:2 earlier:3 anesthesia:5 antiseptic:4 breathing:2 cough:1 reminder:3 schedule:2
knee:1 hip:1 joint:1 doctor:2 temperature:4 fever:2 rash:1 answer:2 question:2 tomorrow:3 evening:2
morning:2 drink:1 water:2 allergy:3 reaction:3 blood:1 thinner:2 needed:2 helped:1 rinsed:1 taken:2
soap:1 skin:1 towel:2 sheets:1 shower:2 walker:2 office:2 emergency:4 message:2 agree:2 reply:2
family:3 friend:1 dentist:2 stopped:1 noses:2 places:2 times:1 bandage:2 dressing:2 sooner:2"""
SPANISH = """cirugía:4 enfermera:4 día:2 agua:2 baño:2 lavado:3 aeropuerto:5 guía:2 pingüino:3 que:1
hoy:1 leer:2 país:2 también:2 ayuda:3 construir:2 ciudad:2 rodilla:3 jabón:2 antiséptico:5 usted:2
cadera:3 fiebre:2 tos:1 oído:3 médico:3 medicina:4 pregunta:3 mañana:3 noche:2 cuerpo:2 limpio:2
toalla:3 sábanas:3 guerra:2 quiere:2 siguiente:3 aire:2 caer:2 reacción:3 alergia:3 oficina:4
muy:1 estoy:2 veintiuno:3 emergencia:4 farmacia:3 después:2 teléfono:4 ahora:3"""


def counted(words: str) -> dict[str, int]:
    return {word: int(n) for word, n in (pair.split(":") for pair in words.split())}


@pytest.mark.parametrize(
    ("words", "rule"), [(ENGLISH, english_syllables), (SPANISH, spanish_syllables)]
)
def test_syllables_agree_with_those_counted_by_hand(words, rule):
    """At most one word in twenty is off, none by more than one, and the sum by at most 2 in 100."""
    told = counted(words)
    off = {word: rule(word) - n for word, n in told.items() if rule(word) != n}
    assert len(off) <= len(told) / 20, off
    assert all(abs(by) == 1 for by in off.values()), off
    assert abs(sum(off.values())) <= 0.02 * sum(told.values()), off


def test_the_formulas_are_the_published_ones():
    counts = Measure(letters=400, words=100, syllables=150, sentences=5)
    assert flesch_kincaid(counts) == pytest.approx(0.39 * 20 + 11.8 * 1.5 - 15.59)
    assert automated_index(counts) == pytest.approx(4.71 * 4 + 0.5 * 20 - 21.43)
    assert perspicuity(counts) == pytest.approx(206.835 - 62.3 * 1.5 - 20)


def test_hyphenation_never_finds_more_syllables_than_are_counted_in_spanish():
    """Spanish words are hyphenated between syllables only, but not at every one of them."""
    hyphens = pyphen.Pyphen(lang="es")
    for word, n in counted(SPANISH).items():
        assert len(hyphens.positions(word)) + 1 <= n


def test_plain_words_are_easier_than_learned_ones_in_both_languages():
    plain = "Wash with the soap. Then put on clean clothes."
    hard = "Perioperative antisepsis necessitates meticulous decontamination of integumentary surfaces."
    assert flesch_kincaid(english(plain)) < 3 < 9 < flesch_kincaid(english(hard))
    assert automated_index(english(plain)) < 3 < 9 < automated_index(english(hard))
    facil = "Báñese con el jabón. Luego use ropa limpia."
    dificil = "La descontaminación perioperatoria requiere procedimientos antisépticos meticulosos."
    assert perspicuity(spanish(facil)) > 80
    assert perspicuity(spanish(dificil)) < 40


def test_a_placeholder_counts_as_a_short_name_and_a_line_end_ends_a_sentence():
    assert english("Call {office_phone} now").words == english("Call Ana now").words == 3
    assert english("One\nTwo").sentences == 2
    assert english("At 10:30 AM, call. Now!").sentences == 2


@given(st.text(max_size=200))
def test_any_text_can_be_measured(text):
    for counts in (english(text), spanish(text)):
        assert counts.words >= 1
        assert counts.sentences >= 1
        assert counts.syllables >= 0
