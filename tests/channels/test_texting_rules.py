"""The rules of texting: sourced, and the reader knows every word that they name."""

import pytest

from bot.channels.texting_rules import HELP_WORDS, OPT_IN_WORDS, OPT_OUT_WORDS, RULES, e164
from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked
from bot.wiring import FLOWS

LEXICON = load_lexicon(FLOWS / "lexicon")


@pytest.mark.parametrize("word", sorted(OPT_OUT_WORDS))
@pytest.mark.parametrize("asked", [Asked.NONE, Asked.SYMPTOM_CHECK, Asked.WASH])
def test_every_opt_out_word_is_read_as_one_whatever_was_asked(word: str, asked: Asked) -> None:
    for form in (word, word.upper(), f" {word.title()}. "):
        assert read(form, asked, LEXICON, language="en").says(Act.OPT_OUT), form


@pytest.mark.parametrize("word", sorted(HELP_WORDS))
def test_every_help_word_is_read_as_one(word: str) -> None:
    assert read(word.upper(), Asked.NONE, LEXICON, language="en").says(Act.HELP)


@pytest.mark.parametrize("word", sorted(OPT_IN_WORDS - {"yes"}))
def test_every_word_that_returns_is_read_as_one(word: str) -> None:
    assert read(word.upper(), Asked.NONE, LEXICON, language="en").says(Act.OPT_IN)


def test_cancel_my_surgery_is_no_opt_out() -> None:
    assert not read("cancel my surgery", Asked.NONE, LEXICON, language="en").says(Act.OPT_OUT)


def test_every_rule_names_its_source_and_whether_it_was_read() -> None:
    assert all(rule.source and rule.status in ("read", "second-hand", "memory") for rule in RULES)


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("(202) 555-0123", "+12025550123"),
        ("202.555.0123", "+12025550123"),
        ("+1 202 555 0123", "+12025550123"),
        ("555-0123", None),
        ("202-555-012", None),
        ("none", None),
        ("", None),
    ],
)
def test_numbers_are_kept_in_one_form_or_refused(written: str, number: str | None) -> None:
    assert e164(written) == number
