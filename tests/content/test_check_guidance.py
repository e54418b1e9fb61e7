"""Warnings where rules leave published guidance: ASA fasting 2017/2023, CDC fever and washing,
quiet hours of 47 CFR 64.1200(c)(1); how each was read stands in flows/sources.yaml."""

from pathlib import Path

import pytest
from content_samples import sound

from bot.content.check_guidance import GUIDANCE, own_rules
from bot.content.load import shelf

SHIPPED = Path(__file__).parents[2] / "flows"
LEAVES = {
    "food_hours": "6.0",
    "light_meal_hours": "5.5",
    "drink_hours": "1.0",
    "wash_days": "[-5, -4]",
    "fever_c": "38.5",
    "fever_f": "101.0",
    "wake": '"06:00"',
    "hush": '"22:30"',
}


def surgeon(root: Path, rule: str, value: str) -> int:
    """Give the sample surgeon one more rule; the line it is on."""
    path = root / "rules" / "surgeons" / "marsh.yaml"
    kept = [li for li in path.read_text().splitlines() if not li.startswith(f"{rule}:")]
    path.write_text("\n".join([*kept, f"{rule}: {{value: {value}, sources: [our-choice]}}"]) + "\n")
    return len(kept) + 1


def warnings_of(directory: Path):
    return [warning for own in own_rules(directory) for warning in own.warnings]


def test_every_line_of_guidance_is_tried_here_and_cites_a_source_that_exists():
    assert {line.rule for line in GUIDANCE} == set(LEAVES)
    known = shelf(SHIPPED).sources[0].sources
    for line in GUIDANCE:
        assert set(line.source.split(", ")) <= set(known)


@pytest.mark.parametrize("rule", LEAVES)
def test_a_rule_that_leaves_guidance_is_warned_of_where_it_stands(rule: str, tmp_path: Path):
    root = sound(tmp_path)
    line = surgeon(root, rule, LEAVES[rule])
    (warning,) = warnings_of(root)
    assert (warning.code, warning.file, warning.line) == (
        "W001",
        "flows/rules/surgeons/marsh.yaml",
        line,
    )
    source = next(g.source for g in GUIDANCE if g.rule == rule)
    assert source in warning.what


@pytest.mark.parametrize(
    ("rule", "value"), [("food_hours", "10.0"), ("drink_hours", "4.0"), ("wash_days", "[-4, -1]")]
)
def test_a_stricter_rule_is_no_warning(rule: str, value: str, tmp_path: Path):
    root = sound(tmp_path)
    surgeon(root, rule, value)
    assert warnings_of(root) == []


def test_each_surgeons_differences_from_the_hospital_are_listed():
    hospital, *surgeons = own_rules(SHIPPED)
    assert hospital.differences == ()
    marsh = next(own for own in surgeons if own.surgeon == "Dr. Leonie Marsh")
    found = {d.name: (d.first, d.second) for d in marsh.differences}
    assert found["food_hours"] == ("8.0", "10.0")
    assert "hospital" not in found


def test_the_shipped_rules_leave_no_published_guidance():
    assert warnings_of(SHIPPED) == []
