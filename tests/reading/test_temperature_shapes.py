"""Temperatures in every shape that we have thought of.

`temperatures.tsv`: the open question, the value with its unit (`-` when there is none), the text.
Written before the reader was shown them, then mended against.
"""

from pathlib import Path

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked

ROWS = [
    line.split("\t")
    for line in (Path(__file__).parent / "temperatures.tsv").read_text(encoding="utf-8").split("\n")
    if line
]
RIGHT = 0.98


def test_temperatures_are_read_in_every_shape(lexicon: Lexicon) -> None:
    wrong = [(text, value) for asked, value, text in ROWS if _value(asked, text, lexicon) != value]
    assert len(wrong) / len(ROWS) <= 1 - RIGHT, wrong


def _value(asked: str, text: str, lexicon: Lexicon) -> str:
    found = read(text, Asked(asked), lexicon).temperature
    return f"{found.value:g}{found.unit}" if found else "-"
