"""The reader on labelled replies: those it was tuned on, and those nobody has looked at.

The bounds of the report part are the aims themselves: 99.5 % of alarms, at most 2 % false, 99 % of
temperatures, every emergency. What it makes of sets full of traps stands in labelled/README.md.
"""

import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import reader_scores as scores

from bot.reading.reading import Act, Asked, Symptom

PARTS = scores.parts()
RECALL = {"tune": 0.998, "report": 0.995}
FALSE_ALARMS = {"tune": 0.005, "report": 0.02}
TEMPERATURES = {"tune": 0.99, "report": 0.99}
DIRE = {"tune": 1.0, "report": 1.0}
LABELS = {part: scores.labels(part) for part in PARTS}
EVERY = [label for part in PARTS for label in LABELS[part]]


@pytest.fixture(scope="module")
def scored():
    read_reply = scores.reader()
    return {part: scores.score(LABELS[part], read_reply) for part in PARTS}


@pytest.mark.parametrize("part", PARTS)
def test_no_alarm_is_missed(part, scored):
    recall = scores.alert_recall(scored[part])
    assert recall.rate >= RECALL[part], f"alert recall on {part}: {recall}"


@pytest.mark.parametrize("part", PARTS)
def test_false_alarms_are_rare(part, scored):
    false = scores.false_alarms(scored[part])
    assert false.rate <= FALSE_ALARMS[part], f"false alarms on {part}: {false}"


@pytest.mark.parametrize("part", PARTS)
def test_temperatures_are_read_as_typed(part, scored):
    right = scores.temperatures(scored[part])
    assert right.rate >= TEMPERATURES[part], f"temperatures right on {part}: {right}"


@pytest.mark.parametrize("part", PARTS)
def test_every_emergency_and_all_talk_of_self_harm_is_seen(part, scored):
    right = scores.emergencies(scored[part])
    assert right.rate >= DIRE[part], f"emergencies and self-harm on {part}: {right}"


# ---- the labelled set itself


def test_the_set_is_large_bilingual_and_by_several_hands():
    languages = Counter(label.lang for label in EVERY)
    assert len(EVERY) >= 2000
    assert languages["es"] / len(EVERY) >= 0.33
    assert len({label.author for label in EVERY}) >= 6
    assert all(len(LABELS[part]) >= 400 for part in PARTS)


def test_nothing_is_both_tuned_on_and_reported():
    seen = {(label.text, label.lang, label.asked) for label in EVERY}
    assert len(seen) == len(EVERY)


def test_every_act_symptom_and_question_occurs():
    assert {label.act for label in EVERY} == set(Act)
    assert {label.asked for label in EVERY} == set(Asked)
    assert {name for label in EVERY for name in label.symptoms} == set(Symptom)


def test_labels_keep_their_own_rules():
    for label in EVERY:
        assert list(label.symptoms) == sorted(label.symptoms), label
        if label.temperature_c is not None and label.temperature_c >= 38.0:
            assert label.alert, label
            assert "fever" in label.symptoms, label
        if label.act in {"opt_out", "opt_in", "help", "wrong_number", "reschedule", "question"}:
            assert not label.alert, label
        if label.act in {"symptom", "emergency", "self_harm", "exposure"}:
            assert label.alert, label
        assert bool(label.choices) == (label.act == "choice"), label
