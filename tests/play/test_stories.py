"""Every story of demo_scripts/ is played on the real services; what it expects must come true."""

from pathlib import Path

import pytest

from bot.play.judging import faults_of
from bot.play.scenario import list_scenarios

STORIES = list_scenarios(Path(__file__).parents[2] / "demo_scripts")
QUICK = ("no_answer_at_office", "opt_out_and_back")  # so that the fast tests know a broken player
PARAGRAPHS = {  # what the countdown promises -> the stories that show it
    "all goes well": "all_well",
    "a fever, a call, postponed": "fever_postponed",
    "late enrolment": "late_hip",
    "silence": "silent_patient",
    "a rash from the soap": "wash_rash",
    "a correction": "second_thoughts",
    "did you get through": "no_answer_at_office",
    "the on-call list": "on_call_ladder",
    "a second alarm": "worse_alarm",
    "watch and look again": "watch_and_recheck",
    "postponed with a medicine stopped": "postponed_medicine",
    "brought forward": "brought_forward",
    "cancelled": "cancelled",
    "side corrected": "side_corrected",
    "a coach leaves": "coach_leaves",
    "a coach confirms": "coach_confirms",
    "wrong number": "wrong_number",
    "two people on one telephone": "shared_phone",
    "stop and start": "opt_out_and_back",
    "ask any time": "ask_any_time",
    "a medicine taken": "medicine_taken",
}


def test_every_paragraph_has_its_story():
    assert set(PARAGRAPHS.values()) <= set(STORIES)


@pytest.mark.parametrize("name", QUICK)
def test_a_short_story_goes_as_written(name, played):
    player = played(STORIES[name])
    assert faults_of(player, player.clock.now) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(set(STORIES) - set(QUICK)))
def test_a_story_goes_as_written(name, played):
    player = played(STORIES[name])
    assert faults_of(player, player.clock.now) == []


def test_an_expectation_that_is_not_met_is_named(played):
    story = STORIES["no_answer_at_office"]
    wrong = story.expect.model_copy(
        update={"escalations": ("rash",), "patient_hears": ("no such words",)}
    )
    player = played(story.model_copy(update={"expect": wrong}))
    found = faults_of(player, player.clock.now)
    assert any(fault.startswith("escalations:") for fault in found)
    assert any("no such words" in fault for fault in found)
