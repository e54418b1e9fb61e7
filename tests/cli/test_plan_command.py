"""`countdown plan` as it is typed, on the content that ships.

Fasting hours: ASA Practice Guidelines for Preoperative Fasting, 2017 (Anesthesiology 126:376),
reaffirmed 2023. Arrival: common practice, no source. Clocks in the US go forward on 14 March 2027
(15 U.S.C. 260a).
"""

import json
from datetime import datetime, timedelta

import pytest
import typer
from typer.testing import CliRunner

from bot.cli.plan import plan

app = typer.Typer()
app.command()(plan)
MARCH = [
    "--joint=knee",
    "--surgery=2027-03-15T07:30",
    "--zone=America/New_York",
    "--enrolled=2027-02-08",
]


def run(*options: str):
    return CliRunner().invoke(app, list(options), env={"COLUMNS": "120"})


@pytest.fixture(scope="module")
def items() -> list[dict]:
    found = run(*MARCH, "--json")
    assert found.exit_code == 0, found.output
    return json.loads(found.stdout)


def due(items: list[dict], flow: str) -> list[str]:
    return [item["due"] for item in items if flow in item["flows"]]


def moment(items: list[dict], name: str) -> set[str]:
    return {item["moments"][name] for item in items if name in item["moments"]}


def test_every_item_has_what_is_promised(items):
    for item in items:
        assert item["flow"]
        assert item["text"]
        assert "{" not in item["text"]
        assert item["to"] in ("patient", "coach")
        assert datetime.fromisoformat(item["due"]).utcoffset() is not None
        assert item["sources"]
        assert all(isinstance(source, str) for source in item["sources"])


def test_items_come_in_time_order(items):
    times = [datetime.fromisoformat(item["due"]) for item in items]
    assert times == sorted(times)


def test_the_washes_are_on_their_three_days_in_local_time(items):
    days = [moment[:10] for moment in due(items, "wash")]
    assert days == ["2027-03-13", "2027-03-14", "2027-03-15"]
    first, second, morning = due(items, "wash")
    assert first.endswith("-05:00")
    assert second.endswith("-04:00")
    assert first[11:16] == second[11:16]
    assert morning < "2027-03-15T05:30:00-04:00"


def test_a_symptom_check_comes_every_day_of_the_last_ten_and_on_the_morning(items):
    days = [moment[:10] for moment in due(items, "symptom_check")]
    assert days == [f"2027-03-{day:02}" for day in range(5, 16)]
    by_day = {moment[11:19] for moment in due(items, "symptom_check")[:-1]}
    assert len(by_day) == 1  # one local time of day, although the clocks change on the way


def test_cut_offs_and_arrival_are_right_to_the_minute(items):
    # Worked example 6: food 23:30 on Sunday 14, clear liquids 05:30 on Monday.
    assert moment(items, "food_until") == {"2027-03-14T23:30:00-04:00"}
    assert moment(items, "drink_until") == {"2027-03-15T05:30:00-04:00"}
    assert moment(items, "arrival_time") == {"2027-03-15T05:30:00-04:00"}
    assert moment(items, "start_time") == {"2027-03-15T07:30:00-04:00"}
    [fasting] = [item for item in items if item["flow"] == "fasting"]
    assert "11:30 PM Sunday night" in fasting["text"]
    assert "5:30 AM Monday" in fasting["text"]


def test_nothing_in_quiet_hours_but_marked_prompts_on_the_morning_of_surgery(items):
    for item in items:
        clock = item["due"][11:16]
        if not "08:00" <= clock < "21:00":
            assert item["time_critical"], item["flow"]
            assert item["due"].startswith("2027-03-15")


def test_without_the_dawn_agreement_nothing_comes_at_night():
    shy = json.loads(run(*MARCH, "--json", "--fact", "dawn_agreed=no").stdout)
    assert all("08:00" <= item["due"][11:16] < "21:00" for item in shy)


def test_a_start_on_the_night_of_the_clock_change_fasts_real_hours():
    # Worked example 2: food until 22:30 EST on Saturday; by the wall clock it would be 7 hours.
    found = run("--joint=hip", "--surgery=2027-03-14T07:30", "--zone=America/New_York", "--json")
    assert moment(json.loads(found.stdout), "food_until") == {"2027-03-13T22:30:00-05:00"}


def test_late_enrolment_tells_what_the_nurse_must_see_to():
    found = run(
        "--joint=knee",
        "--surgery=2027-03-15T07:30",
        "--zone=America/New_York",
        "--enrolled=2027-03-11T10:00",
        "--hold=warfarin=2027-03-09=Dr. Ivo Marsh",
        "--json",
    )
    assert "warfarin" in found.stderr
    assert "last dose already past" in found.stderr
    enrolled = datetime.fromisoformat("2027-03-11T10:00:00-05:00")
    times = [datetime.fromisoformat(item["due"]) for item in json.loads(found.stdout)]
    assert min(times) == enrolled
    assert all(t - enrolled < timedelta(days=6) for t in times)


def test_an_offset_in_the_start_is_turned_to_the_hospitals_zone():
    found = run("--joint=knee", "--surgery=2027-03-15T11:30Z", "--zone=America/New_York", "--json")
    assert moment(json.loads(found.stdout), "start_time") == {"2027-03-15T07:30:00-04:00"}


def test_facts_of_each_kind_are_read():
    facts = ("age=81", "smoker=yes", "coach_name=Marguerite", "has_coach=yes")
    found = run(*MARCH, "--json", *(f"--fact={fact}" for fact in facts))
    assert {item["to"] for item in json.loads(found.stdout)} == {"patient", "coach"}
    assert due(json.loads(found.stdout), "smoking")


def test_rules_that_are_not_there_end_with_a_fault_and_no_trace():
    found = run(*MARCH, "--surgeon=nobody")
    assert found.exit_code == 1
    assert "rules/surgeons/nobody.yaml" in found.stderr


def test_without_a_start_the_day_of_surgery_waits():
    found = run("--joint=knee", "--surgery=2027-03-15", "--zone=America/New_York", "--json")
    assert not moment(json.loads(found.stdout), "start_time")
    assert "the start is missing: Sun Mar 14 12:00 EDT" in found.stderr


def test_the_table_shows_time_and_text():
    found = run(*MARCH)
    assert found.exit_code == 0
    assert "Mon Mar 15  03:" in found.stdout or "Mon Mar 15  04:" in found.stdout
    assert "wash 3 of 3" in found.stdout


@pytest.mark.parametrize(
    ("options", "mend"),
    [
        (["--surgery=15 March", "--zone=America/New_York"], "write 2027-03-15"),
        (["--surgery=2027-03-15", "--zone=Mars/Olympus"], "IANA name"),
        (["--surgery=2027-03-15", "--zone=America/New_York", "--fact=shoe=9"], "known keys"),
        (["--surgery=2027-03-15", "--zone=America/New_York", "--fact=smoker=9"], "yes or no"),
        (["--surgery=2027-03-15", "--zone=America/New_York", "--fact=age=old"], "whole number"),
        (["--surgery=2027-03-15", "--zone=America/New_York", "--hold=warfarin"], "--hold warfarin"),
        (["--surgery=2027-03-15", "--zone=America/New_York", "--arrive=dawn"], "like 06:00"),
    ],
)
def test_a_mistake_says_how_to_mend_it(options: list[str], mend: str):
    found = run("--joint=knee", *options)
    assert found.exit_code == 2
    assert mend in " ".join(found.stderr.replace("│", " ").split())
