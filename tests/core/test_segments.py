"""Segment counts: worked examples, laws, and agreement with libraries written by others."""

import gsm0338
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.segments import (
    GSM_BASIC,
    GSM_EXTENSION,
    Accents,
    Alphabet,
    Segments,
    alphabet_of,
    count,
    fold,
    sms_text,
    split,
)

SEPTETS, UNITS = Alphabet.GSM7, Alphabet.UCS2
TEXTS = st.text(
    st.one_of(
        st.sampled_from(sorted(GSM_BASIC | GSM_EXTENSION)),
        st.sampled_from("áíóúÁç“”‘’–—…👍日"),
    ),
    max_size=400,
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # 3GPP TS 23.038 s.6.2.1, TS 23.040 s.9.2.3.24.1: 160/153 septets, 70/67 units.
        ("", Segments(SEPTETS, 0, 1)),
        ("a" * 160, Segments(SEPTETS, 160, 1)),
        ("a" * 161, Segments(SEPTETS, 161, 2)),
        ("a" * 306, Segments(SEPTETS, 306, 2)),
        ("a" * 307, Segments(SEPTETS, 307, 3)),
        ("€" * 80, Segments(SEPTETS, 160, 1)),
        ("a" * 159 + "€", Segments(SEPTETS, 161, 2)),
        ("a" * 152 + "€" + "a" * 151, Segments(SEPTETS, 305, 2)),
        ("a" * 152 + "€" + "a" * 152, Segments(SEPTETS, 306, 3)),  # the pair moves on whole
        ("ñ" * 160, Segments(SEPTETS, 160, 1)),
        ("á" * 70, Segments(UNITS, 70, 1)),
        ("í" * 71, Segments(UNITS, 71, 2)),
        ("a" * 160 + "á", Segments(UNITS, 161, 3)),
        ("👍" * 35, Segments(UNITS, 70, 1)),
        ("👍" * 36, Segments(UNITS, 72, 2)),
        ("a" * 66 + "👍" * 34, Segments(UNITS, 134, 3)),  # no surrogate pair is halved
        ("ç", Segments(UNITS, 1, 1)),
        ("Ç", Segments(SEPTETS, 1, 1)),  # TS 23.038 has the capital only
    ],
)
def test_a_text_takes_the_parts_that_the_standard_says(text: str, expected: Segments) -> None:
    assert count(text) == expected


def test_the_alphabet_is_that_of_an_independent_codec() -> None:
    codec = gsm0338.Codec()
    for code in range(0x3000):
        character = chr(code)
        if character == "\x1b":
            continue  # the escape to the extension table; no character of a text
        try:
            septets = len(codec.encode(character)[0])
        except UnicodeError:
            assert alphabet_of(character) is UNITS, f"U+{code:04X}"
        else:
            assert count(character).units == septets, f"U+{code:04X}"
            assert alphabet_of(character) is SEPTETS, f"U+{code:04X}"


@given(TEXTS)
def test_pieces_join_to_the_text_and_each_fits_one_part(text: str) -> None:
    pieces = split(text)
    assert "".join(pieces) == text
    assert len(pieces) == count(text).parts
    if len(pieces) > 1:
        room = 153 if alphabet_of(text) is SEPTETS else 67
        encoded = [p.replace("€", "xx") if room == 153 else p for p in pieces]
        assert all(len(p.encode("utf-16-be")) // 2 <= room for p in encoded)


@given(TEXTS, st.sampled_from(Accents))
def test_folding_twice_changes_nothing_more(text: str, accents: Accents) -> None:
    once = fold(text, accents)
    assert fold(once, accents) == once


def test_typographic_signs_never_make_a_message_ucs2() -> None:
    text = "“Don’t eat” – nothing after 11:30 PM… • ok\u00a0now‑"
    assert fold(text) == '"Don\'t eat" - nothing after 11:30 PM... - ok now-'
    assert alphabet_of(fold(text)) is SEPTETS


def test_spanish_accents_are_kept_or_folded_as_the_setting_says() -> None:
    text = "Mañana a las 5:30, ¿tomó su baño? Está aquí. Sí, él también. ¡Cirugía!"
    assert fold(text, Accents.KEEP) == text
    folded = fold(text, Accents.FOLD)
    assert folded == "Mañana a las 5:30, ¿tomo su baño? Esta aqui. Si, él también. ¡Cirugia!"
    assert (alphabet_of(text), alphabet_of(folded)) == (UNITS, SEPTETS)


def test_decomposed_letters_count_as_the_letter_they_are() -> None:
    assert fold("man\u0303ana") == "mañana"


def test_folding_drops_no_letter_it_cannot_write() -> None:
    assert fold("日本 👍", Accents.FOLD) == "日本 👍"


def test_choices_become_a_numbered_list() -> None:
    assert sms_text("Did you wash?", ("Done", "Later")) == "Did you wash?\n1 Done\n2 Later"
