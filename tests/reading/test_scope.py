"""What the words around a symptom do to it: deny it, place it in the past, give it to another."""

import pytest

from bot.reading.lexicon import Lexicon
from bot.reading.reader import Thresholds, read, understand
from bot.reading.reading import Act, Asked
from bot.reading.walk import Mention


def only_mention(text: str, lexicon: Lexicon) -> Mention:
    mentions = understand(text, Asked.SYMPTOM_CHECK, lexicon, Thresholds()).mentions
    assert len(mentions) == 1, mentions
    return mentions[0]


@pytest.mark.parametrize(
    "text",
    [
        "no cough",
        "I do not have a cough",
        "not coughing anymore",
        "cough: no",
        "I don't think I have a cough",
        "no sign of a cough",
        "sin tos",
        "no tengo tos",
        "ya no tengo tos",
    ],
)
def test_a_denied_cough_is_denied(text: str, lexicon: Lexicon) -> None:
    assert only_mention(text, lexicon).denied


@pytest.mark.parametrize(
    "text",
    [
        "no doubt its a cough",
        "not only a cough",
        "can't stop coughing",
        "no, I have a cough",
        "no wait i have a cough",
        "nothing but a cough",
        "I never don't cough",
        "cough not gone",
        "I have no ride and a cough",
        "couldn't sleep, coughing",
        "no se me quita la tos",
        "no, tengo tos",
    ],
)
def test_a_no_that_does_not_deny_the_cough_leaves_it(text: str, lexicon: Lexicon) -> None:
    assert only_mention(text, lexicon).holds


def test_a_past_time_holds_only_in_its_own_clause(lexicon: Lexicon) -> None:
    assert only_mention("I had a cough last month", lexicon).past
    assert not only_mention("we moved to a new house last year, I have a cough", lexicon).past


def test_a_short_clause_speaks_of_its_neighbour(lexicon: Lexicon) -> None:
    assert only_mention("I had a cough. That was last month.", lexicon).past


def test_a_fever_that_has_just_gone_still_holds(lexicon: Lexicon) -> None:
    assert only_mention("my fever is gone", lexicon).holds
    assert not only_mention("my cough is gone", lexicon).holds


def test_an_if_supposes_and_a_claim_inside_a_question_does_not(lexicon: Lexicon) -> None:
    assert only_mention("what if I get a cough?", lexicon).supposed
    assert not only_mention("should I worry about my cough?", lexicon).supposed


def test_another_person_is_followed_until_the_writer_returns(lexicon: Lexicon) -> None:
    assert only_mention("my husband has a cough", lexicon).others
    assert not only_mention("my wife says I have a cough", lexicon).others
    assert not only_mention("my grandson gave me his cough", lexicon).others


def test_he_is_the_patient_when_nobody_else_was_named(lexicon: Lexicon) -> None:
    assert not only_mention("he has a cough", lexicon).others
    assert only_mention("my son was here and he has a cough", lexicon).others


def test_a_dog_with_a_cough_is_no_alarm_but_its_bite_is(lexicon: Lexicon) -> None:
    assert not read("my dog has a cough", Asked.SYMPTOM_CHECK, lexicon).alert
    assert read("my dog bit me", Asked.SYMPTOM_CHECK, lexicon).alert


def test_cannot_walk_is_an_emergency_only_after_a_fall(lexicon: Lexicon) -> None:
    knee = read("can't walk far because of my knee", Asked.NONE, lexicon)
    fallen = read("I fell and can't walk", Asked.NONE, lexicon)
    assert knee.act is not Act.EMERGENCY
    assert fallen.act is Act.EMERGENCY
