"""`countdown plan --compare`: two surgeons side by side, as typed."""

import json

import typer
from typer.testing import CliRunner

from bot.cli.plan import plan

app = typer.Typer()
app.command()(plan)
MARCH = ["--joint=knee", "--surgery=2027-03-15T07:30", "--zone=America/New_York"]


def run(*options: str):
    return CliRunner().invoke(app, [*MARCH, *options], env={"COLUMNS": "150"})


def test_two_surgeons_stand_side_by_side_with_rules_and_messages():
    shown = run("--compare", "marsh", "tovar")
    assert shown.exit_code == 0, shown.output
    line = next(li for li in shown.stdout.splitlines() if "wash_days" in li)
    assert "-1, 0" in line
    assert "-4, -3, -2, -1, 0" in line
    assert "Dr. Leonie Marsh" in shown.stdout
    assert "more messages are the same" in shown.stdout


def test_for_programs_the_same_comes_as_json():
    found = json.loads(run("--compare", "default", "marsh", "--json").stdout)
    assert found["surgeons"] == ["Dr. Ana Quill", "Dr. Leonie Marsh"]
    food = next(rule for rule in found["rules"] if rule["rule"] == "food_hours")
    assert (food["first"], food["second"]) == ("8.0", "10.0")
    last = next(message for message in found["messages"] if message["key"] == "last_food")
    assert last["moved"]


def test_rules_that_do_not_exist_are_told_and_end_the_command():
    shown = run("--compare", "marsh", "nobody")
    assert shown.exit_code == 1
    assert "nobody.yaml" in shown.output
