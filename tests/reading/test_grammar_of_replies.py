"""What the function words do: time, person, denial, dictated signs, whose temperature, which dose.

`grammar.tsv`: the point of grammar, what is wanted, the open question, the text. Wanted is an act
(or several with `/` between), then any of: a symptom, `t=` the temperature in degrees Celsius
(`t=-` for none), `alert`, `noalert`. All replies are invented, in pairs that differ in one point.
"""

from pathlib import Path

import pytest

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked, Reading

ROWS = [
    tuple(line.split("\t"))
    for line in (Path(__file__).parent / "grammar.tsv").read_text(encoding="utf-8").splitlines()
]
SAME_DEGREE = 0.011  # degrees Celsius


def fits(reading: Reading, wanted: str) -> bool:
    """True when the reading has everything that `wanted` names."""
    acts, *more = wanted.split()
    return reading.act in acts.split("/") and all(_has(reading, one) for one in more)


def _has(reading: Reading, wanted: str) -> bool:
    if wanted in ("alert", "noalert"):
        return reading.alert == (wanted == "alert")
    if not wanted.startswith("t="):
        return wanted in reading.symptoms
    if wanted == "t=-" or reading.temperature is None:
        return wanted == "t=-" and reading.temperature is None
    return abs(reading.temperature.celsius - float(wanted[2:])) < SAME_DEGREE


@pytest.mark.parametrize(("point", "wanted", "asked", "text"), ROWS)
def test_a_reply_is_read_by_its_grammar(
    point: str, wanted: str, asked: str, text: str, lexicon: Lexicon
) -> None:
    reading = read(text, Asked(asked), lexicon)
    assert fits(reading, wanted), (point, reading)
