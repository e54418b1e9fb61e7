"""The educator's commands as typed: check, pictures, review sheet, try, publish, go back."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from bot.cli import COMMANDS, app

FLOWS = Path(__file__).parents[2] / "flows"


def run(*words: str, keys: str = "", env: dict[str, str] | None = None):
    return CliRunner().invoke(app, list(words), input=keys, env={"COLUMNS": "120", **(env or {})})


@pytest.fixture
def my_flows(tmp_path: Path) -> Path:
    root = tmp_path / "my-flows"
    shutil.copytree(FLOWS, root)
    return root


@pytest.fixture
def store(tmp_path: Path) -> dict[str, str]:
    return {"COUNTDOWN_DATABASE": f"sqlite:///{tmp_path}/c.db"}


def replace(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_help_lists_every_command():
    shown = run("--help")
    assert shown.exit_code == 0
    assert all(f" {name} " in shown.stdout for name in COMMANDS)


def test_an_unknown_command_is_an_error_with_a_word_about_it():
    shown = run("chekc")
    assert shown.exit_code == 2
    assert "chekc" in shown.output


def test_check_shows_how_surgeons_differ_and_warns_without_failing(my_flows: Path):
    marsh = my_flows / "rules" / "surgeons" / "marsh.yaml"
    replace(marsh, "value: 10.0", "value: 7.0")
    shown = run("check", str(my_flows), "--rules")
    assert shown.exit_code == 0, shown.output
    assert "W001 my-flows/rules/surgeons/marsh.yaml:" in shown.stdout
    assert "food_hours: 8.0 -> 7.0" in shown.stdout


def test_check_asks_for_the_texts_of_a_language_that_is_being_added():
    shown = run("check", "--language", "vi")
    assert shown.exit_code == 1
    assert "F041 flows/talks/wash.yaml:" in shown.stdout


def test_pictures_are_drawn_and_then_known_to_be_current_until_the_content_changes(
    my_flows: Path, tmp_path: Path
):
    to = str(tmp_path / "pictures")
    assert run("pictures", str(my_flows), "--to", to).exit_code == 0
    assert run("pictures", str(my_flows), "--to", to, "--check").exit_code == 0
    replace(my_flows / "talks" / "pets.yaml", "title: ", "title: My ")
    shown = run("pictures", str(my_flows), "--to", to, "--check")
    assert shown.exit_code == 1
    assert "talk_pets.svg" in shown.stdout


def test_the_review_sheet_is_written(tmp_path: Path):
    to = tmp_path / "texts.html"
    assert run("review-sheet", str(to)).exit_code == 0
    assert "<b>Lawyer</b>" in to.read_text(encoding="utf-8")


def test_one_conversation_can_be_tried_in_either_language():
    shown = run("talk", "--flow", "smoking", "--language", "es", keys="ya lo deje\n/quit\n")
    assert shown.exit_code == 0, shown.output
    assert "Fumar hace" in shown.stdout
    assert "Siga así" in shown.stdout
    assert "idioma" not in shown.stdout  # nothing else of the countdown comes


def test_a_conversation_that_there_is_not_is_told_with_those_that_there_are():
    shown = run("talk", "--flow", "smokng")
    assert shown.exit_code == 1
    assert "smoking" in shown.output


def test_content_is_published_listed_and_taken_back(my_flows: Path, store: dict[str, str]):
    assert "the content that ships is live" in run("versions", env=store).stdout
    replace(my_flows / "talks" / "pets.yaml", "title: ", "title: My ")
    done = run("publish", str(my_flows), "--by", "Nurse Ortiz", "--note", "a title", env=store)
    assert done.exit_code == 0, done.output
    assert "talks/pets.yaml" in done.stdout
    shown = run("versions", env=store).stdout
    assert "Nurse Ortiz" in shown
    assert "a title" in shown
    back = run("versions", "back", "--by", "Nurse Lopez", env=store)
    assert back.exit_code == 0, back.output
    after = run("versions", env=store).stdout
    assert after.index("Nurse Lopez") < after.index("Nurse Ortiz") < after.index("installation")


def test_a_dry_run_names_who_would_be_touched_and_publishes_nothing(
    my_flows: Path, store: dict[str, str], tmp_path: Path
):
    sheet = tmp_path / "one.csv"
    sheet.write_text(
        "patient_id,name,phone,born,joint,side,surgery_date,surgeon,start_time\n"
        "P-7,Rosalind Vale,+12025550150,1955-04-02,knee,left,2099-03-16,Dr. Ana Quill,07:30\n"
    )
    assert run("import", str(sheet), env=store).exit_code == 0
    replace(
        my_flows / "protocol" / "joint.yaml", 'days: -21, at: "14:00"', 'days: -21, at: "15:00"'
    )
    shown = run("publish", str(my_flows), "--dry-run", env=store)
    assert shown.exit_code == 0, shown.output
    assert "P-7 Rosalind Vale: 1 messages change" in shown.stdout
    assert "preop_class: moved" in shown.stdout
    assert "the content that ships is live" in run("versions", env=store).stdout


def test_without_a_name_or_with_a_fault_nothing_is_published(my_flows: Path, store: dict[str, str]):
    assert run("publish", str(my_flows), "--note", "why", env=store).exit_code == 1
    replace(my_flows / "talks" / "pets.yaml", "asked: ", "askd: ")
    shown = run("publish", str(my_flows), "--by", "Nurse Ortiz", "--note", "why", env=store)
    assert shown.exit_code == 1
    assert "F010 flows/talks/pets.yaml:" in shown.output
    assert "the content that ships is live" in run("versions", env=store).stdout
