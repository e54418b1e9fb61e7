"""The read command answers each line on its own and survives bad ones."""

import json

from bot.cli.read import answer
from bot.reading.lexicon import Lexicon


def ask(line: str, lexicon: Lexicon) -> dict:
    return answer(line.encode(), 7, lexicon)


def test_a_good_line_gives_every_field_of_the_contract(lexicon: Lexicon) -> None:
    line = json.dumps({"text": "temp 101.3 and coughing", "lang": "en", "asked": "symptom_check"})
    reading = ask(line, lexicon)
    assert reading["act"] == "symptom"
    assert reading["symptoms"] == ["fever", "cough"]
    assert reading["temperature_c"] == 38.5
    assert reading["choices"] is None
    assert reading["alert"] is True
    assert reading["because"]


def test_bad_lines_give_an_error_with_their_number(lexicon: Lexicon) -> None:
    for line in ("{", "[]", '{"asked": "none"}', '{"text": 3}', '{"text": "a", "asked": "x"}'):
        reading = ask(line, lexicon)
        assert reading["line"] == 7
        assert "error" in reading


def test_a_line_that_is_not_utf8_gives_an_error(lexicon: Lexicon) -> None:
    assert "error" in answer(b'{"text": "\xff"}', 1, lexicon)
