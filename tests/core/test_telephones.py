import phonenumbers
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.telephones import grouped


@pytest.mark.parametrize(
    ("address", "read"),
    [
        ("+12025550150", "+1 202-555-0150"),
        ("+1-202-555-0150", "+1 202-555-0150"),
        ("911", "911"),
        ("8015550150", "8015550150"),  # the id of a chat, not a number to dial
        ("waiting for patient 3", "waiting for patient 3"),
        ("+", "+"),
        ("", ""),
    ],
)
def test_a_number_is_written_as_people_read_it_and_all_else_as_it_is(address: str, read: str):
    assert grouped(address) == read


@given(st.sampled_from(["+34", "+1202", "+44"]), st.integers(10**6, 10**9 - 1))
def test_whoever_dials_what_is_read_dials_the_same_number(country: str, rest: int):
    address = f"{country}{rest}"
    same = phonenumbers.is_number_match(grouped(address), address)
    assert same == phonenumbers.MatchType.EXACT_MATCH
