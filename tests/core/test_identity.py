"""The check of the year of birth."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.identity import MOST_TRIES, Check, Standing, answer

BORN = 1951


@pytest.mark.parametrize(
    "text",
    ["1951", " 1951. ", "I was born in 1951", "3/14/1951", "March 14, 1951", "14 de marzo de 1951",
     "1951-03-14", "51", "'51", "\u2019 51".replace(" ", ""), "nací en 1951", "١٩٥١"],
)  # fmt: skip
def test_the_right_year_passes_however_it_is_written(text):
    assert answer(Check(), text, BORN).standing is Standing.PASSED


@pytest.mark.parametrize(
    "text",
    ["1952", "yes", "", "1950 1951 1952", "19511", "11951", "951", "52", "I am 51 years old",
     "1951 or 1952", "+12025551951", "born 51 or 52"],
)  # fmt: skip
def test_anything_else_does_not(text):
    assert answer(Check(), text, BORN) == Check(Standing.ASKING, 1)


def test_after_three_wrong_answers_even_the_right_year_opens_nothing():
    check = Check()
    for year in ("1949", "1950", "1952"):
        assert check.standing is Standing.ASKING
        check = answer(check, year, BORN)
    assert check == Check(Standing.REFUSED, MOST_TRIES)
    assert answer(check, "1951", BORN) == check


@given(st.lists(st.text(max_size=30), max_size=8), st.integers(1920, 2010))
def test_a_check_ends_after_three_answers_and_never_moves_again(texts, born):
    check, ended = Check(), None
    for text in texts:
        check = answer(check, text, born)
        assert ended is None or check == ended
        ended = check if check.standing is not Standing.ASKING else None
        assert (check.tries == MOST_TRIES) == (check.standing is Standing.REFUSED)
    assert len(texts) < MOST_TRIES or check.standing is not Standing.ASKING


@given(st.integers(1900, 2019), st.integers(1900, 2019))
def test_only_the_year_on_record_passes(said, born):
    passed = answer(Check(), str(said), born).standing is Standing.PASSED
    assert passed == (said == born)
