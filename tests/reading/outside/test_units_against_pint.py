"""Degrees Fahrenheit and Celsius agree with pint 0.25.3 over the whole range of body readings."""

import subprocess
import sys

import pytest
from peer_packages import ENVIRONMENT, PYTHON, needed

from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked, Temperature

pytestmark = pytest.mark.peers

LOWEST_F, HIGHEST_F = 932, 1076  # tenths of a degree: the plausible range, 34.0 to 42.0 C
HALF_A_HUNDREDTH = 0.005 + 1e-9
PROGRAM = f"""
import pint
unit = pint.UnitRegistry()
for tenths in range({LOWEST_F}, {HIGHEST_F} + 1):
    print(unit.Quantity(tenths / 10, unit.degF).to(unit.degC).magnitude)
"""
LEXICON = load_lexicon()


@pytest.fixture(scope="module")
def by_pint() -> dict[int, float]:
    package = needed("pint")
    inside = str(package.locate_file("")).startswith(str(ENVIRONMENT))
    python = str(PYTHON) if inside else sys.executable
    run = subprocess.run([python, "-c", PROGRAM], capture_output=True, text=True, check=True)
    return dict(zip(range(LOWEST_F, HIGHEST_F + 1), map(float, run.stdout.split()), strict=True))


def test_every_tenth_of_a_degree_converts_as_pint_does(by_pint):
    assert len(by_pint) == HIGHEST_F - LOWEST_F + 1
    for tenths, celsius in by_pint.items():
        assert abs(Temperature(tenths / 10, "F").celsius - celsius) <= HALF_A_HUNDREDTH


def test_fever_begins_where_pint_says_38_degrees(by_pint):
    for tenths, celsius in by_pint.items():
        reading = read(f"{tenths / 10}", Asked.TEMPERATURE, LEXICON)
        assert reading.alert == (celsius >= 38.0 - 1e-9), tenths


def test_the_reader_keeps_the_number_it_was_given(by_pint):
    for tenths, celsius in by_pint.items():
        for text in (
            f"{tenths / 10}",
            f"it is {tenths / 10} F",
            f"{tenths / 10}".replace(".", ","),
        ):
            found = read(text, Asked.TEMPERATURE, LEXICON).temperature
            assert found is not None, text
            assert abs(found.celsius - celsius) <= HALF_A_HUNDREDTH, text
