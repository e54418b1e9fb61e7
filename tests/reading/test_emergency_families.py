"""Emergencies and talk of self-harm by whole families, composed from classes of words.

emergency_families.yaml holds the classes; each line is spelled out into every sentence it allows
and read bare and inside a frame: after a denial, behind a digression, with "otherwise fine".
"""

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked

TABLE: dict[str, Any] = YAML(typ="safe").load(
    (Path(__file__).parent / "emergency_families.yaml").read_text(encoding="utf-8")
)
FAMILIES = [
    (family, language)
    for family, table in TABLE["families"].items()
    for language in ("en", "es")
    if language in table
]
DIRE = (Act.EMERGENCY, Act.SELF_HARM)
EITHER = {"overdose"}  # pills taken by mistake or on purpose: both reach a person at once
ASKED = tuple(Asked)
CHOICE = re.compile(r"\{([^{}]*)\}")


def spelled_out(pattern: str) -> Iterator[str]:
    """Every sentence of "my {left|right} arm is {weak|numb}"."""
    pieces = CHOICE.split(pattern)
    choices = [p.split("|") if at % 2 else [p] for at, p in enumerate(pieces)]
    for chosen in itertools.product(*choices):
        yield "".join(chosen).strip()


def composed(family: str, language: str) -> list[tuple[str, Asked]]:
    """Each sentence bare and in one frame; the open question goes round."""
    frames = itertools.cycle(TABLE["frames"][language].splitlines())
    asked = itertools.cycle(ASKED)
    found = []
    for pattern in TABLE["families"][family][language].splitlines():
        for core in spelled_out(pattern):
            found.append((core, next(asked)))
            found.append((next(frames).replace("...", core, 1), next(asked)))
    return found


@pytest.mark.parametrize(("family", "language"), FAMILIES)
def test_every_reply_of_a_family_is_read_as_what_it_is(
    family: str, language: str, lexicon: Lexicon
) -> None:
    meant = DIRE if family in EITHER else (Act(TABLE["families"][family]["act"]),)
    missed = []
    for text, asked in composed(family, language):
        reading = read(text, asked, lexicon)
        if not (reading.alert and any(reading.says(act) for act in meant)):
            missed.append((asked.value, text, reading.act.value))
    assert missed == []


def test_the_families_are_many_and_in_both_languages() -> None:
    for language in ("en", "es"):
        replies = {
            text for f, lang in FAMILIES if lang == language for text, _ in composed(f, lang)
        }
        assert len(replies) >= 1000
        assert len(TABLE["guards"][language].splitlines()) >= 50


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_only_sounds_dire_stays_quiet(language: str, lexicon: Lexicon) -> None:
    """Idioms, denials, what-ifs, old history, other people's illness, pets and machines."""
    alarmed = [
        (asked.value, text, reading.because)
        for text in TABLE["guards"][language].splitlines()
        for asked in ASKED
        for reading in [read(text, asked, lexicon)]
        if any(reading.says(act) for act in DIRE)
    ]
    assert alarmed == []


def test_a_misspelt_word_of_each_family_is_still_read(lexicon: Lexicon) -> None:
    slips = {
        "cant braethe": Act.EMERGENCY,
        "chset pain": Act.EMERGENCY,
        "had a siezure": Act.EMERGENCY,
        "i faintd": Act.EMERGENCY,
        "me desmalle": Act.EMERGENCY,
        "i am suicidle": Act.SELF_HARM,
        "quiero suicidrme": Act.SELF_HARM,
    }
    read_as = {text: read(text, Asked.NONE, lexicon).act for text in slips}
    assert read_as == slips
