"""Curated answers: the right one or none, and medicines, wounds and illness go to a nurse."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from bot.content.answers import load_answers
from bot.content.faults import ContentFaults
from bot.reading.answers import AnswerFinder

ROOT = Path(__file__).parents[2]
FLOWS = ROOT / "flows"
HELD_OUT = Path(__file__).parent / "labelled" / "questions.jsonl"
RELAYED_TOPICS = {"medicine", "illness", "skin"}

_yaml = YAML(typ="safe")
SOURCES = set(_yaml.load((FLOWS / "sources.yaml").read_text(encoding="utf-8")))
EXAMPLES = {
    name: entry["example"]
    for name, entry in _yaml.load((FLOWS / "facts.yaml").read_text(encoding="utf-8"))[
        "placeholders"
    ].items()
}
BOOK = load_answers(FLOWS / "answers.yaml", sources=SOURCES, placeholders=EXAMPLES)
FINDER = AnswerFinder(BOOK)
QUESTIONS = [
    (entry.id, language, question)
    for entry in BOOK.entries
    for language, ways in entry.questions.items()
    for question in ways
]
ASKED = [json.loads(line) for line in HELD_OUT.read_text(encoding="utf-8").splitlines()]


def found(text: str, language: str | None) -> str | None:
    answer = FINDER.find(text, language)
    return answer.entry.id if answer else None


def test_there_are_at_least_forty_answers_in_both_languages():
    assert len(BOOK.entries) >= 40
    assert all(set(entry.answer) == {"en", "es"} for entry in BOOK.entries)


def test_every_listed_way_of_asking_finds_its_own_answer():
    assert len(QUESTIONS) >= 500
    assert [asked for asked in QUESTIONS if found(asked[2], asked[1]) != asked[0]] == []


def test_questions_never_listed_get_the_right_answer_or_none():
    wrong = [
        (asked["text"], answer)
        for asked in ASKED
        if (answer := found(asked["text"], asked["lang"])) not in {None, asked["answer"]}
    ]
    assert wrong == []


def test_four_of_five_questions_never_listed_are_answered():
    reported = [asked for asked in ASKED if asked["split"] == "report"]
    answerable = [asked for asked in reported if asked["answer"]]
    right = [a for a in answerable if found(a["text"], a["lang"]) == a["answer"]]
    assert len(answerable) >= 100
    assert len(right) / len(answerable) >= 0.8


def test_what_is_not_in_the_book_is_left_to_the_nurse():
    strangers = [asked for asked in ASKED if asked["answer"] is None]
    assert len(strangers) >= 25
    assert [a["text"] for a in strangers if found(a["text"], a["lang"])] == []


def test_medicines_wounds_and_illness_are_answered_by_a_nurse():
    open_answers = [e.id for e in BOOK.entries if e.topic in RELAYED_TOPICS and not e.escalate]
    assert open_answers == []


@pytest.mark.parametrize(
    "question",
    [
        "can I drink coffee with my blood pressure pill",
        "can I have coffee with losartan",
        "can I drink water with my gabapentin",
        "puedo tomar café con losartan",
        "can I shave if I have a rash",
        "can I drink water with my metformin",
        "can I eat breakfast with my insulin",
        "can I wear lotion on my sore",
        "puedo tomar café con mis pastillas",
        "puedo tomar cafe with my pills",
        "me puedo rasurar si tengo una cortada",
    ],
)
def test_a_safe_topic_with_a_medicine_or_a_wound_in_it_is_not_answered_by_rote(question):
    answer = FINDER.find(question)
    assert answer is None or answer.entry.escalate


def test_a_medicine_named_to_the_finder_is_guarded_too():
    question = "can I drink gabapentin in water"
    assert AnswerFinder(BOOK, is_medicine={"gabapentin"}.__contains__).find(question, "en") is None


def test_an_answer_says_which_words_it_was_chosen_for():
    answer = FINDER.find("Can I have coffee?", "en")
    assert answer is not None
    assert "coffee" in answer.because
    assert answer.score >= 0.52


def test_typing_errors_do_not_hide_the_question():
    assert found("can I have cofee", "en") == "coffee"
    assert found("where is the parkng", "en") == "parking"
    assert found("donde esta el estasionamiento", "es") == "parking"


def test_a_question_in_the_other_language_is_still_answered():
    assert found("puedo tomar café", "en") == "coffee"
    assert found("can I have coffee", "es") == "coffee"


@given(st.text(max_size=400), st.sampled_from(["en", "es", None]))
@settings(max_examples=100, deadline=None)
def test_any_text_gets_an_answer_or_none(text, language):
    answer = FINDER.find(text, language)
    assert answer is None or answer.entry in BOOK.entries


@given(st.sampled_from(QUESTIONS), st.sampled_from(["hello ", "please ", "thank you "]))
@settings(max_examples=60, deadline=None)
def test_polite_words_do_not_change_the_answer(asked, polite):
    entry, language, question = asked
    if language == "en":
        assert found(polite + question, language) == entry


def test_eating_after_surgery_is_not_answered_with_the_times_before_it():
    assert found("when can I eat after surgery", "en") is None
    assert found("can I eat after midnight", "en") == "after_midnight"


def test_a_long_story_is_not_taken_for_a_question():
    assert found("can I have coffee " + "and then we went to the lake " * 20, "en") is None


# ---- faults of the file

GOOD = """\
answers:
  - id: coffee
    topic: fasting
    sources: [fast-clear-2h]
    key: {en: [coffee], es: [cafe]}
    questions:
      en: [can I have coffee, is coffee ok, coffee today]
      es: [puedo tomar cafe, se puede cafe, cafe hoy]
    answer: {en: "Until {drink_until}.", es: "Hasta {drink_until}."}
"""


def faults_of(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "answers.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ContentFaults) as raised:
        load_answers(path, sources=SOURCES, placeholders=EXAMPLES)
    return [str(fault) for fault in raised.value.faults]


def test_the_good_file_loads(tmp_path):
    path = tmp_path / "answers.yaml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_answers(path, sources=SOURCES, placeholders=EXAMPLES).entries[0].source_line == 2


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[fast-clear-2h]", "[no-such]", "source `no-such` is not known"),
        ("[fast-clear-2h]", "[]", "no source"),
        ("topic: fasting", "topics: fasting", "unknown key `topics`"),
        ("topic: fasting", "topics: fasting", "`topic` is missing"),
        ("es: [cafe]", "es: []", "no key words in es"),
        ("{en: [coffee]", "{en: [tea]", "lacks a key word"),
        ("Until {drink_until}", "Until {lunch}", "uses {lunch}, which has no value"),
        ("Until {drink_until}.", "Until " + "later " * 60, "characters when filled in"),
        ("Until {drink_until}.", "Until \u2018noon\u2019", "typographic signs"),
        (", coffee today", "", "fewer than 3 ways of asking in en"),
        (', es: "Hasta {drink_until}."', "", "no answer in es"),
        ("id: coffee", "id: coffee\n    escalate: perhaps", "neither true nor false"),
    ],
)
def test_a_fault_says_what_and_where(tmp_path, old, new, said):
    assert old in GOOD
    faults = faults_of(tmp_path, GOOD.replace(old, new))
    assert any(said in fault and " answers.yaml:2: " in fault for fault in faults), faults


def test_one_question_under_two_answers_is_a_fault(tmp_path):
    twice = GOOD + GOOD.removeprefix("answers:\n").replace("id: coffee", "id: tea")
    assert any("is also asked under `coffee`" in fault for fault in faults_of(tmp_path, twice))


def test_broken_yaml_names_its_line(tmp_path):
    assert faults_of(tmp_path, "answers:\n  - id: [coffee\n")[0].startswith("F080 answers.yaml:3: ")


def test_a_file_without_answers_is_a_fault(tmp_path):
    assert "no list `answers`" in faults_of(tmp_path, "owner: someone\n")[0]
