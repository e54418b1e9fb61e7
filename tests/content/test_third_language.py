"""A third language is added with content files only. The texts here are no translation: the English
words with a mark before them stand in, to show where a language must and need not be given."""

from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
import yaml

from bot import wiring
from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.content.check import faults_in
from bot.content.load import load_book
from bot.content.yaml_tree import tree
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment

SHIPPED = Path(__file__).parents[2] / "flows"
PHONE, NEW = "+12025550150", "vi"
LEXICON = """\
lexicon: vi
purpose: "Skeleton to show that a language needs no code. Not for use."
owner: Pre-op nurse educator
review_by: "2027-11-01"
how_to_add: "One phrase a line, lower case, no accents."
acts:
  yes: |
    vang
symptoms:
  fever: |
    bi sot
"""
TALK_TEXTS = ("labels", "wording")


def marked(text: str) -> str:
    """What stands in for a translation; the longest texts have no room for a mark."""
    return f"Vi: {text}" if len(text) < 200 else text


def with_new_language(texts: dict[str, str]) -> dict[str, str]:
    return {**texts, NEW: marked(texts["en"])}


@pytest.fixture(scope="module")
def flows(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("third") / "flows"
    for path in sorted(SHIPPED.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        if path.parent.name == "talks":
            talk = tree(text)
            for group in TALK_TEXTS:
                talk[group] = {k: with_new_language(t) for k, t in talk.get(group, {}).items()}
            text = yaml.dump(plain(talk), allow_unicode=True, sort_keys=False, width=1000)
        target = root / path.relative_to(SHIPPED)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
    (root / "lexicon" / "vi.yaml").write_text(LEXICON, encoding="utf-8")
    _replace(root / "talks" / "language.yaml", "language: en", "language: vi")  # the first choice
    _replace(root / "facts.yaml", "values: [en, es]", "values: [en, es, vi]")
    _replace(
        root / "rules" / "default.yaml", "    surgeon_es:", '    knee_vi: "goi"\n    surgeon_es:'
    )
    return root


def plain(node: object) -> object:
    """Without the lines, which YAML cannot write."""
    if isinstance(node, dict):
        return {key: plain(value) for key, value in node.items()}
    return [plain(value) for value in node] if isinstance(node, list) else node


def _replace(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_the_checker_asks_for_every_text_of_a_language_that_is_being_added() -> None:
    faults = faults_in(SHIPPED, languages=(NEW,))
    assert {fault.code for fault in faults} == {"F041"}
    texts = sum(len(f.wording) + len(f.labels) for f in load_book(SHIPPED).flows.values())
    assert len(faults) == texts


def test_a_complete_third_language_has_no_fault_and_is_among_those_offered(flows: Path) -> None:
    assert [str(fault) for fault in faults_in(flows, languages=(NEW,))] == []
    assert load_book(flows).languages == ("en", "es", NEW)


def test_one_text_that_is_missing_is_named_with_its_line(flows: Path) -> None:
    path = flows / "talks" / "pets.yaml"
    text = path.read_text(encoding="utf-8")
    line = next(li for li in text.splitlines() if li.startswith("    vi: "))
    try:
        path.write_text(text.replace(line + "\n", "", 1), encoding="utf-8")
        (fault,) = faults_in(flows, languages=(NEW,))
    finally:
        path.write_text(text, encoding="utf-8")
    assert (fault.code, fault.file) == ("F041", "flows/talks/pets.yaml")
    assert f"no text in {NEW}" in fault.what


class Clock:
    now = datetime(2027, 3, 12, 15, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


def test_a_patient_is_written_to_in_it_with_its_dates_and_understood_in_it(
    flows: Path, tmp_path: Path
) -> None:
    app = wiring.build(f"sqlite:///{tmp_path}/v.db", clock=Clock(), flows=flows)
    app.connect(RecordingChannel(app.clock, "sms"))
    surgery = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
    app.care.enrol(
        Enrolment("P-1", "Rosalind Vale", "sms", PHONE, surgery, "Dr. Ana Quill",
                  language=NEW, agreed="on paper")
    )  # fmt: skip
    end = datetime(2027, 3, 15, 6, tzinfo=UTC)
    while (moment := app.next_moment()) is not None and moment <= end:
        app.clock.now = max(moment, app.clock.now)
        app.run_due()
        if app.chart(1).conversation.open is not None:
            hear(app, "1")
    told = [
        line.text for line in app.threads(1) if line.who == "coach bot" and line.to == "patient"
    ]
    assert sum("Vi: " in text for text in told) > len(told) / 2
    assert any("goi" in text for text in told)
    assert any("Thứ Hai" in text for text in told)
    app.clock.now += timedelta(minutes=5)
    hear(app, "Tôi bị sốt")
    assert "fever" in {reason for work in app.worklist() for reason in work.case.reasons}
    app.close()


def hear(app: wiring.App, text: str) -> None:
    app.handle(Incoming("sms", PHONE, text, f"{app.clock.now}{text}", app.clock()))
    app.run_due()
