"""The whole service on Telegram, against a Bot API server written by others."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from peer_process import until
from rigs import TelegramRig

from bot.channels.telegram import TelegramChannel
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment
from bot.service.practice import Practice
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import App, load_practice

pytestmark = pytest.mark.peers
MONDAY = datetime(2027, 2, 8, 15, tzinfo=UTC)  # 10:00 in New York
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


@pytest.fixture(scope="module")
def content() -> Practice:
    return load_practice(open_engine("sqlite://"))


class Bedside:
    """The service, the bot, and one patient's phone; the test moves the clock."""

    def __init__(self, rig: TelegramRig, content: Practice, folder: Path) -> None:
        self.rig = rig
        self.now = MONDAY
        rig.channel.close()
        engine = open_engine(f"sqlite:///{folder}/clinic.db")
        upgrade(engine)
        self.app = App(replace(content, engine=engine), lambda: self.now)
        rig.channel = TelegramChannel(rig.settings, lambda: self.now)
        self.app.connect(rig.channel)
        until("the bot is connected", lambda: rig.channel.trouble() is None)
        wish = Enrolment(
            "P-1", "Rosalind Vale", "telegram", "", KNEE, "Dr. Ana Quill", date(1951, 3, 14),
            agreed="paper",
        )  # fmt: skip
        self.patient = self.app.care.enrol(wish).patient
        self.code = self.app.care.enrolment_code(self.patient)

    def heard(self) -> int:
        lines = self.app.threads(self.patient)
        return sum(1 for line in lines if line.who in ("patient", "unconfirmed"))

    def answers(self, how: str, words: str) -> list[str]:
        """The patient answers; what the phone got for it."""
        before, lines = len(self.rig.on_phone()), self.heard()
        {"press": self.rig.press, "say": self.rig.says, "command": self.rig.command}[how](words)
        until("the service heard it", lambda: self.heard() > lines)
        self.app.run_due()
        return self.rig.on_phone()[before:]

    def wait(self, **span: float) -> None:
        self.now += timedelta(**span)
        self.app.run_due()


@pytest.fixture
def bedside(node: str, content: Practice, tmp_path: Path) -> Iterator[Bedside]:
    rig = TelegramRig(node)
    made = Bedside(rig, content, tmp_path)
    yield made
    made.app.close()
    rig.close()


def joined(bedside: Bedside) -> None:
    """The patient has opened the link and told the year of birth."""
    bedside.answers("command", f"/start {bedside.code}")
    bedside.answers("say", "1951")


def test_nothing_is_said_before_the_link_is_opened_and_then_the_year_is_asked_first(
    bedside: Bedside,
) -> None:
    bedside.app.run_due()
    assert bedside.rig.history() == []
    (asked,) = bedside.answers("command", f"/start {bedside.code}")
    assert "YEAR" in asked
    assert "Rosalind" not in asked
    assert bedside.answers("say", "1951"), "the first message came to the chat"


def test_a_stranger_with_a_wrong_code_learns_nothing_personal(bedside: Bedside) -> None:
    bedside.rig.command("/start enr_guessed")
    until("it came in", lambda: bedside.rig.channel.trouble() is None)
    bedside.app.run_due()
    assert "Rosalind" not in " ".join(bedside.rig.on_phone())


def test_a_question_is_answered_by_button_and_by_text_alike(bedside: Bedside) -> None:
    joined(bedside)
    assert bedside.answers("press", "English"), "the button moved the chat on"
    bedside.wait(minutes=30)
    assert bedside.answers("say", "ok"), "so did the text"


def test_a_fever_on_the_phone_opens_an_escalation(bedside: Bedside) -> None:
    joined(bedside)
    said = bedside.answers("say", "I have a fever of 101.5")
    (row,) = [row for row in bedside.app.worklist() if "fever" in row.case.reasons]
    assert row.case.patient == bedside.patient
    assert "call" in " ".join(said).lower()


def test_a_blocked_bot_makes_the_message_a_persons_matter(bedside: Bedside) -> None:
    joined(bedside)
    bedside.rig.fault(
        method="sendMessage", error_code=403, times=9,
        description="Forbidden: bot was blocked by the user",
    )  # fmt: skip
    bedside.rig.says("ok")
    until("heard", lambda: bedside.heard() >= 3)
    bedside.app.run_due()
    reasons = [reason for row in bedside.app.worklist() for reason in row.case.reasons]
    assert "undelivered" in reasons


def test_a_flood_wait_is_waited_and_the_message_then_goes_out_once(bedside: Bedside) -> None:
    joined(bedside)
    before = len(bedside.rig.on_phone())
    bedside.rig.throttle()
    bedside.rig.says("ok")
    until("heard", lambda: bedside.heard() >= 3)
    bedside.app.run_due()
    assert bedside.rig.on_phone()[before:] == []
    bedside.wait(seconds=2)
    assert bedside.rig.on_phone()[before:] == []
    bedside.wait(seconds=2)
    assert len(bedside.rig.on_phone()[before:]) == 1
