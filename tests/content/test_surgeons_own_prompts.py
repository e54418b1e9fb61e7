"""A surgeon's own prompts, as the educator's guide writes them: for that surgeon's patients only."""

import re
import shutil
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

from bot import wiring
from bot.content.check import faults_in
from bot.content.load import load_protocols
from bot.content.pictures.album import album
from bot.core.protocol import Surgery, protocol_for
from bot.service.enrolment import Enrolment

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "writing-flows.md").read_text(encoding="utf-8")
SURGERY = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))


@pytest.fixture
def flows(tmp_path: Path) -> Path:
    root = tmp_path / "flows"
    shutil.copytree(ROOT / "flows", root)
    ((name, text),) = re.findall(r"```yaml\n# a surgeon's own: (\S+)\n(.*?)```", GUIDE, re.DOTALL)
    (root / name).write_text(text, encoding="utf-8")
    return root


def test_it_has_no_fault_and_leaves_the_hospitals_own_countdown_as_it_is(flows: Path) -> None:
    assert [str(fault) for fault in faults_in(flows)] == []
    protocols = load_protocols(flows)
    assert protocols["knee"] == load_protocols(ROOT / "flows")["knee"]
    assert protocol_for(protocols, "knee", "Dr. Leonie Marsh").name == "knee_marsh"
    assert protocol_for(protocols, "hip", "Dr. Leonie Marsh").name == "hip"
    assert protocol_for(protocols, "knee", "Dr. Hugo Tovar").name == "knee"
    assert {"timeline_knee.svg", "timeline_knee_marsh.svg"} <= set(album(flows))


def test_only_that_surgeons_patients_get_the_prompt(flows: Path, tmp_path: Path) -> None:
    now = datetime(2027, 2, 8, 15, tzinfo=UTC)
    app = wiring.build(f"sqlite:///{tmp_path}/s.db", clock=lambda: now, flows=flows)
    for n, surgeon in enumerate(("Dr. Leonie Marsh", "Dr. Hugo Tovar")):
        phone = f"+1202555015{n}"
        who = Enrolment(
            f"P-{n}", "Rosalind Vale", "sms", phone, SURGERY, surgeon, agreed="on paper"
        )
        app.care.enrol(who)
    planned = [{p.key for prompt in app.planned(who) for p in prompt.parts} for who in (1, 2)]
    assert ["preop_class_again" in keys for keys in planned] == [True, False]
    app.close()


def test_a_slip_in_the_surgeons_name_is_a_fault_where_it_stands(flows: Path) -> None:
    path = flows / "protocol" / "knee_marsh.yaml"
    path.write_text(path.read_text().replace('Leonie Marsh"', 'Leoni Marsh"'))
    (fault,) = faults_in(flows)
    assert (fault.code, fault.file, fault.line) == ("F022", "flows/protocol/knee_marsh.yaml", 3)
    assert "Dr. Leonie Marsh" in fault.mend
