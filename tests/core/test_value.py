"""Values are frozen by the type checker, which `.ci/run` asks about every file of the program."""

import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from bot.core.conversation import OpenQuestion
from bot.core.protocol import Surgery

ROOT = Path(__file__).parents[2]
MEDDLING = """
from datetime import UTC, datetime
from bot.core.conversation import OpenQuestion

asked = OpenQuestion("wash", "r1", "ask", datetime(2027, 3, 1, tzinfo=UTC))
print(asked.nudges)
asked.nudges = 2
"""


@pytest.mark.slow
def test_the_type_checker_refuses_whoever_changes_a_value(tmp_path):
    (tmp_path / "meddling.py").write_text(MEDDLING)
    told = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", str(tmp_path / "meddling.py")],
        cwd=ROOT, env={"MYPYPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert 'meddling.py:7: error: Property "nudges" defined in "OpenQuestion"' in told.stdout
    assert told.stdout.count("error:") == 1


def test_a_value_has_no_room_for_anything_else():
    asked = OpenQuestion("wash", "r1", "ask", datetime(2027, 3, 1, tzinfo=UTC))
    with pytest.raises(AttributeError):
        asked.mood = "good"


def test_equal_values_are_one_key():
    on = date(2027, 3, 15)
    assert len({Surgery("hip", "left", on, "UTC"), Surgery("hip", "left", on, "UTC")}) == 1
