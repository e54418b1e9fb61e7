"""The educator's guide, done word for word: a new conversation without a line of Python."""

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from bot import wiring
from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.cli import COMMANDS
from bot.content.check import faults_in
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "writing-flows.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"```yaml\n# (file|add to): (\S+)\n(.*?)```", re.DOTALL)
PHONE = "+12025550150"
DAY = datetime(2027, 2, 24, 15, tzinfo=UTC)  # 10:00 in New York, 19 days before the surgery


class Clock:
    def __init__(self) -> None:
        self.now = datetime(2027, 2, 20, 15, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture(scope="module")
def flows(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped content with what the guide says added to it, and nothing else."""
    root = tmp_path_factory.mktemp("guide") / "flows"
    shutil.copytree(ROOT / "flows", root)
    steps = BLOCK.findall(GUIDE)
    assert [step[0] for step in steps] == ["file", "add to"]
    for kind, name, text in steps:
        path = root / name
        before = "" if kind == "file" else path.read_text(encoding="utf-8").rstrip() + "\n"
        path.write_text(before + text, encoding="utf-8")
    return root


def enrolled(flows: Path, folder: Path, *, diabetes: bool, language: str = "en") -> wiring.App:
    app = wiring.build(f"sqlite:///{folder}/g.db", clock=Clock(), flows=flows)
    app.connect(RecordingChannel(app.clock, "sms"))
    surgery = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
    app.care.enrol(
        Enrolment(
            "P-1", "Rosalind Vale", "sms", PHONE, surgery, "Dr. Ana Quill",
            language=language, facts={"diabetes": diabetes}, agreed="on paper",
        )
    )  # fmt: skip
    return app


@pytest.fixture
def app(flows: Path, tmp_path: Path) -> Iterator[wiring.App]:
    made = enrolled(flows, tmp_path, diabetes=True)
    yield made
    made.close()


def until_asked(app: wiring.App) -> None:
    """Let days pass, answering what comes before, until the new question is open."""
    while (moment := app.next_moment()) is not None and moment <= DAY + timedelta(days=4):
        app.clock.now = max(moment, app.clock.now)
        app.run_due()
        question = app.chart(1).conversation.open
        if question is not None and question.flow == "blood_sugar":
            return
        if question is not None:
            hear(app, "1")
    pytest.fail("the new question was never asked")


def hear(app: wiring.App, text: str) -> None:
    app.handle(Incoming("sms", PHONE, text, f"{app.clock.now}{text}", app.clock()))
    app.run_due()


def told(app: wiring.App) -> str:
    return [line.text for line in app.threads(1) if line.who == "coach bot"][-1]


def test_the_checker_finds_no_fault_in_what_the_guide_adds(flows: Path) -> None:
    assert [str(fault) for fault in faults_in(flows)] == []


def test_a_patient_with_diabetes_is_asked_and_a_yes_is_noted(app: wiring.App) -> None:
    until_asked(app)
    hear(app, "yes I do, every morning")
    assert "bring the list" in told(app)
    assert app.items(1)["blood_sugar"].value == "done"


def test_one_without_a_meter_is_told_that_a_nurse_will_call_and_the_nurse_is_told(app) -> None:
    until_asked(app)
    hear(app, "I have no meter")
    assert "A nurse will call you" in told(app)
    assert "help_needed" in {reason for work in app.worklist() for reason in work.case.reasons}


def test_an_alarm_in_the_new_conversation_is_heard_like_everywhere(app) -> None:
    until_asked(app)
    hear(app, "I have a fever and chills")
    assert "Please call" in told(app)
    assert "fever" in {reason for work in app.worklist() for reason in work.case.reasons}


def test_a_patient_without_diabetes_never_gets_it(flows: Path, tmp_path: Path) -> None:
    app = enrolled(flows, tmp_path, diabetes=False)
    keys = {part.flow for prompt in app.planned(1) for part in prompt.parts}
    assert "preop_class" in keys
    assert "blood_sugar" not in keys
    app.close()


def test_every_command_that_the_guide_names_exists() -> None:
    named = set(re.findall(r"(?:bin/|`)countdown ([a-z-]+)", GUIDE))
    assert named <= set(COMMANDS), named - set(COMMANDS)
