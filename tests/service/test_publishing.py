"""Publishing: what goes live, what ends on its own version, whom it touches, and the way back."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from bot import wiring
from bot.channels.base import Incoming
from bot.channels.recording import RecordingChannel
from bot.content.faults import ContentFaults
from bot.content.snapshot import Snapshot, laid_out, revision_of, snapshot
from bot.core.protocol import Surgery
from bot.service import publishing
from bot.service.enrolment import Enrolment
from bot.service.publishing import PublishFault

SHIPPED = snapshot(Path(__file__).parents[2] / "flows")
PHONE = "+12025550150"
START = datetime(2027, 2, 8, 15, tzinfo=UTC)


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture(scope="module")
def flows() -> Iterator[Path]:
    """The shipped content as it was when these tests began."""
    with laid_out(SHIPPED.files) as folder:
        yield folder


@pytest.fixture
def app(tmp_path: Path, flows: Path) -> Iterator[wiring.App]:
    made = wiring.build(f"sqlite:///{tmp_path}/c.db", clock=Clock(), flows=flows)
    made.connect(RecordingChannel(made.clock, "sms"))
    surgery = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
    made.care.enrol(
        Enrolment("P-1", "Rosalind Vale", "sms", PHONE, surgery, "Dr. Ana Quill", agreed="paper")
    )
    yield made
    made.close()


def edited(file: str, old: str, new: str, base: Snapshot = SHIPPED) -> Snapshot:
    assert old in base.files[file], f"{old!r} is not in {file}"
    files = {**base.files, file: base.files[file].replace(old, new)}
    return Snapshot(revision_of(files), files)


def run_until(app: wiring.App, until: datetime) -> None:
    while (moment := app.next_moment()) is not None and moment <= until:
        app.clock.now = max(moment, app.clock.now)
        app.run_due()


def hear(app: wiring.App, text: str) -> None:
    app.handle(Incoming("sms", PHONE, text, f"in-{app.clock.now}-{text}", app.clock()))
    app.run_due()


def told(app: wiring.App) -> list[str]:
    return [line.text for line in app.threads() if line.who == "coach bot"]


def test_a_question_under_way_ends_on_the_version_it_began_with(app):
    run_until(app, START + timedelta(minutes=1))
    begun = app.chart(1).conversation.open
    assert begun is not None and begun.flow == "language"
    spoken = app.practice.book.flows["language"]
    done = next(s.say for s in spoken.states.values() if s.end)
    text = spoken.wording[done]["en"]
    changed = edited("talks/language.yaml", text, "NEW LAST WORDS.")
    app.publish(changed, "Nurse Ortiz", "other last words")
    hear(app, "1")
    assert text in "\n".join(told(app))
    assert "NEW LAST WORDS" not in "\n".join(told(app))


def test_what_begins_after_publishing_speaks_the_new_version(app):
    text = app.practice.book.flows["language"].wording["ask"]["en"]
    app.publish(edited("talks/language.yaml", text, "Which one, please?"), "Nurse Ortiz", "shorter")
    run_until(app, START + timedelta(minutes=1))
    assert any("Which one, please?" in text for text in told(app))


def test_a_question_under_way_can_be_answered_when_its_flow_is_gone_from_the_new_version(app):
    run_until(app, START + timedelta(minutes=1))
    files = {name: text for name, text in SHIPPED.files.items() if name != "talks/language.yaml"}
    prompt = files["protocol/joint.yaml"]
    cut = prompt[prompt.index("  - id: language\n") : prompt.index("  - id: welcome\n")]
    files["protocol/joint.yaml"] = prompt.replace(cut, "")
    app.publish(Snapshot(revision_of(files), files), "Nurse Ortiz", "no question about it")
    assert "language" not in app.practice.book.flows
    hear(app, "1")
    now_open = app.chart(1).conversation.open
    assert now_open is None or now_open.flow != "language"
    assert app.worklist() == []


def test_another_process_takes_up_what_was_published_at_its_next_tick(app, tmp_path, flows):
    other = wiring.build(f"sqlite:///{tmp_path}/c.db", clock=app.clock, flows=flows)
    text = app.practice.book.flows["language"].wording["ask"]["en"]
    app.publish(edited("talks/language.yaml", text, "Which one?"), "Nurse Ortiz", "shorter")
    assert other.practice.book.flows["language"].wording["ask"]["en"] == text
    other.tick()
    assert other.practice.book.flows["language"].wording["ask"]["en"] == "Which one?"
    other.close()


def test_one_step_back_brings_the_words_back_and_the_log_keeps_both_steps(app):
    text = app.practice.book.flows["language"].wording["ask"]["en"]
    app.publish(edited("talks/language.yaml", text, "Which one?"), "Nurse Ortiz", "shorter")
    app.clock.now += timedelta(hours=1)
    done = app.go_back("Nurse Lopez")
    assert app.practice.book.flows["language"].wording["ask"]["en"] == text
    assert done.changed == ("talks/language.yaml",)
    log = publishing.history(app.engine)
    assert [entry.who for entry in log] == ["Nurse Lopez", "Nurse Ortiz", "installation"]
    assert log[0].revision == log[2].revision == SHIPPED.revision
    assert [entry.at for entry in log] == sorted((entry.at for entry in log), reverse=True)


def test_content_with_a_fault_does_not_go_live(app):
    bad = edited("talks/wash.yaml", "done: {go: confirmed}", "done: {go: confermed}")
    with pytest.raises(ContentFaults) as caught:
        app.publish(bad, "Nurse Ortiz", "a slip")
    assert any(f.code == "F020" and "wash.yaml" in f.file for f in caught.value.faults)
    assert publishing.history(app.engine) == []


@pytest.mark.parametrize(("who", "note"), [("", "why"), ("Nurse Ortiz", " ")])
def test_nobody_publishes_without_a_name_and_a_reason(app, who, note):
    with pytest.raises(PublishFault):
        app.publish(SHIPPED, who, note)


def test_what_is_live_already_is_not_published_again_and_there_may_be_no_way_back(app):
    with pytest.raises(PublishFault, match="no version before"):
        app.go_back("Nurse Ortiz")
    with pytest.raises(PublishFault, match="live already"):
        app.publish(SHIPPED, "Nurse Ortiz", "again")


def test_a_change_names_every_patient_it_would_touch_and_how(app):
    moved = edited("protocol/joint.yaml", 'days: -21, at: "14:00"', 'days: -21, at: "15:00"')
    (found,) = app.touched(moved)
    assert (found.reference, found.name) == ("P-1", "Rosalind Vale")
    (difference,) = found.messages
    assert difference.key == "preop_class"
    assert difference.moved
    assert publishing.history(app.engine) == []


def test_a_change_that_touches_nobody_says_so(app):
    hip_only = edited("talks/packing_hip.yaml", "Packing for a hip", "Bags for a hip")
    assert app.touched(hip_only) == ()


def test_publishing_plans_the_countdowns_anew(app):
    before = {prompt.key: prompt.due for prompt in app.planned(1)}
    moved = edited("protocol/joint.yaml", 'days: -21, at: "14:00"', 'days: -21, at: "15:00"')
    app.publish(moved, "Nurse Ortiz", "later in the day")
    after = {prompt.key: prompt.due for prompt in app.planned(1)}
    assert after["preop_class"] == before["preop_class"] + timedelta(hours=1)
    assert {k: v for k, v in after.items() if k != "preop_class"} == {
        k: v for k, v in before.items() if k != "preop_class"
    }


def test_after_an_upgrade_of_the_program_a_chat_ends_on_the_words_it_began_with(tmp_path, flows):
    """Nothing was published: the shipped files themselves changed under a question."""
    clock, url = Clock(), f"sqlite:///{tmp_path}/c.db"
    old = wiring.build(url, clock=clock, flows=flows)
    publishing.keep_for_later(old.engine, SHIPPED, clock())
    old.connect(RecordingChannel(clock, "sms"))
    surgery = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
    old.care.enrol(
        Enrolment("P-1", "Rosalind Vale", "sms", PHONE, surgery, "Dr. Ana Quill", agreed="paper")
    )
    run_until(old, START + timedelta(minutes=1))
    begun = old.chart(1).conversation.open
    old.close()
    text = old.practice.book.flows["language"].wording["ask"]["en"]
    newer = edited("talks/language.yaml", text, "Which one?")
    root = tmp_path / "newer" / "flows"
    for name, content in newer.files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(content)
    new = wiring.build(url, clock=clock, flows=root)
    assert (begun.flow, begun.revision) in new.practice.book.retired
    assert (
        replace(new.practice.book, retired={}).flows["language"].wording["ask"]["en"]
        == "Which one?"
    )
    new.close()
