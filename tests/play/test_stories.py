"""Every story of demo_scripts/ is played on the real services; what it expects must come true."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from bot.cli import app
from bot.play.judging import faults_of
from bot.play.scenario import list_scenarios

SCRIPTS = Path(__file__).parents[2] / "demo_scripts"
STORIES = list_scenarios(SCRIPTS)
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


def test_an_expectation_that_is_not_met_is_named_to_whoever_plays_the_story(tmp_path):
    for name in ("all_well", "no_answer_at_office"):
        text = (SCRIPTS / f"{name}.yaml").read_text(encoding="utf-8")
        wrong = text.replace("escalations: [cough]", "escalations: [rash]").replace(
            "Did you get through", "no such words"
        )
        (tmp_path / f"{name}.yaml").write_text(wrong, encoding="utf-8")
    told = CliRunner().invoke(app, ["demo", "no_answer_at_office", "--stories", str(tmp_path)])
    assert told.exit_code == 1
    assert "expects: escalations:" in told.output
    assert "no such words" in told.output
