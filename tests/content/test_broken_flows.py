"""Seeded mistakes in the content that ships: each is found, at its line, with how to mend it.

Each file of broken_flows/ is one mistake: in `file`, `find` becomes `put`; the checker must tell
`code` on the line where `at` stands afterwards, in words that hold `says`.
"""

import shutil
from datetime import date
from pathlib import Path

import pytest

from bot.content.check import faults_in
from bot.content.yaml_tree import tree

HERE = Path(__file__).parent
FLOWS = HERE.parents[1] / "flows"
BROKEN = sorted((HERE / "broken_flows").glob("*.yaml"))
TODAY = date(2026, 12, 1)


@pytest.fixture(scope="module")
def flows(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("broken") / "flows"
    shutil.copytree(FLOWS, root)
    return root


def test_there_are_at_least_twenty() -> None:
    assert len(BROKEN) >= 20


def test_without_them_there_is_no_fault(flows: Path) -> None:
    assert [str(fault) for fault in faults_in(flows, TODAY)] == []


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_the_mistake_is_found_where_it_is_and_how_to_mend_it_is_said(
    path: Path, flows: Path
) -> None:
    seeded = tree(path.read_text(encoding="utf-8"))
    file = flows / seeded["file"]
    sound = file.read_text(encoding="utf-8")
    assert seeded["find"] in sound, "the content has changed: seed the mistake anew"
    broken = sound.replace(seeded["find"], seeded["put"], 1)
    file.write_text(broken, encoding="utf-8")
    try:
        faults = faults_in(flows, TODAY)
    finally:
        file.write_text(sound, encoding="utf-8")
    line = _line_of_change(broken, seeded)
    told = [f for f in faults if (f.code, f.file) == (seeded["code"], f"flows/{seeded['file']}")]
    assert any(f.line == line and seeded["says"] in f.what for f in told), (
        line,
        [str(f) for f in faults],
    )
    assert all(fault.mend.endswith(".") for fault in told)


def _line_of_change(broken: str, seeded: dict[str, str]) -> int:
    """Where `at` stands: within the change if it is there, else anywhere."""
    start = broken.find(seeded["put"]) if seeded["at"] in seeded["put"] else 0
    place = broken.index(seeded["at"], max(0, start))
    if seeded["code"] == "F003":
        place = broken.index(seeded["at"], place + 1)
    return broken[:place].count("\n") + 1
