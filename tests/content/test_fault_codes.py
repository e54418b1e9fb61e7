"""The page of fault codes: complete, and current in docs/."""

import re
from pathlib import Path

from bot.content.fault_codes import GROUPS, faults_page

ROOT = Path(__file__).parents[2]
CODES = {code for group in GROUPS.values() for code in group}


def used() -> set[str]:
    text = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "bot" / "content").glob("*.py"))
    return set(
        re.findall(
            r'"([FW]\d{3})"', text.replace((ROOT / "bot/content/fault_codes.py").read_text(), "")
        )
    )


def test_every_code_that_the_checker_uses_is_explained_and_no_other() -> None:
    assert used() == CODES


def test_a_code_stands_in_one_group_only() -> None:
    assert sum(len(group) for group in GROUPS.values()) == len(CODES)


def test_the_page_in_docs_is_the_one_that_the_command_prints() -> None:
    """When this fails: `countdown check --codes > docs/faults.md`."""
    assert (ROOT / "docs" / "faults.md").read_text(encoding="utf-8") == faults_page()
