"""Replies invented in rounds, each before the reader was shown them, then mended against.

`invented.tsv`: what a nurse must be told (alert, emergency, self_harm or nothing), the open
question, the text. `invented_acts.tsv`: the act, the open question, the text. They were tuned on, so they show what must not be lost, not how well the reader
does on new text; that is measured on tests/reading/labelled/report.jsonl.
"""

from pathlib import Path

import pytest

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked, Reading


def rows(name: str) -> list[list[str]]:
    text = (Path(__file__).parent / name).read_text(encoding="utf-8")
    return [line.split("\t") for line in text.splitlines()]


ROWS = rows("invented.tsv")
RECALL, FALSE_ALARMS, ACTS = 0.995, 0.02, 0.95
DIRE = {"emergency": Act.EMERGENCY, "self_harm": Act.SELF_HARM}


def readings(kind: str, lexicon: Lexicon) -> list[tuple[str, Reading]]:
    return [(text, read(text, Asked(asked), lexicon)) for k, asked, text in ROWS if k == kind]


def test_alarms_are_seen(lexicon: Lexicon) -> None:
    found = readings("alert", lexicon)
    missed = [text for text, reading in found if not reading.alert]
    assert len(missed) / len(found) <= 1 - RECALL, missed


@pytest.mark.parametrize("kind", DIRE)
def test_every_emergency_and_wish_to_die_is_seen(kind: str, lexicon: Lexicon) -> None:
    missed = [t for t, r in readings(kind, lexicon) if not (r.alert and r.says(DIRE[kind]))]
    assert missed == []


def test_innocent_replies_seldom_alarm(lexicon: Lexicon) -> None:
    found = readings("nothing", lexicon)
    false = [text for text, reading in found if reading.alert]
    assert len(found) >= 400
    assert len(false) / len(found) <= FALSE_ALARMS, false


def test_acts_are_read_as_meant(lexicon: Lexicon) -> None:
    told = rows("invented_acts.tsv")
    wrong = [text for act, asked, text in told if read(text, Asked(asked), lexicon).act != act]
    assert len(wrong) / len(told) <= 1 - ACTS, wrong
