"""Seeded mistakes: each is found, with file, line, and how to mend it."""

from datetime import date
from pathlib import Path

import pytest
from content_samples import sound, spoil

from bot.content.check import faults_in

SHIPPED = Path(__file__).parents[2] / "flows"
TALK, PROTOCOL, RULES = "talks/wash.yaml", "protocol/joint.yaml", "rules/default.yaml"

# (file, old text, new text, code, line: None = the line of the mistake, words of the message)
MISTAKES = {
    "a tab": (TALK, "  thanks: {say", "\tthanks: {say", "F002", None, "tab"),
    "not YAML": (TALK, "start: gate", "start: [gate", "F001", 8, "not valid YAML"),
    "a key twice": (TALK, "start: gate", "start: gate\nstart: gate", "F003", 8, "start"),
    "an unknown key": (TALK, "nudges: 1", "nudgez: 1", "F010", None, "nudgez"),
    "a missing key": (TALK, "owner: Nurse educator\n", "", "F011", 1, "owner"),
    "a wrong kind": (TALK, "nudge_after: 90m", "nudge_after: soon", "F012", None, "90m, 5h or 2d"),
    "an unknown priority": (TALK, "time_critical", "hurry", "F012", None, "priority"),
    "a state that is not there": (TALK, "done: {go: thanks}", "done: {go: tanks}", "F020", None, "tanks"),
    "an unreachable state": (TALK, "  thanks: {say", "  lost: {end: x}\n  thanks: {say", "F030", None, "lost"),
    "a state that goes nowhere": (TALK, ", end: done}", "}", "F031", None, "goes nowhere"),
    "a question without a way out": (TALK, "done: {go: thanks}", "done: {}", "F031", 13, "no reply leads out"),
    "a branch without a last way": (TALK, "- {go: ask}", "- {if: {smoker: false}, go: ask}", "F032", 9, "no way for the others"),
    "replies without a question": (TALK, "    asked: wash\n", "", "F033", 13, "does not wait"),
    "a question without words": (TALK, "    say: ask\n", "", "F034", 13, "says nothing"),
    "a question without silence": (TALK, "    silence: {nudge_after: 90m, nudges: 1, coach_after: 1h, nurse_after: 60m, escalate: silent}\n", "", "F035", 13, "silence"),
    "a choice without a reply": (TALK, "[done, later]", "[done, later, how]", "F036", 13, "how"),
    "an alarm caught by a flow": (TALK, "done: {go: thanks}", "done: {go: thanks}\n      opt_out: {go: thanks}", "F037", 19, "opt_out"),
    "a reply nobody can give": (TALK, "done: {go: thanks}", "done: {go: thanks}\n      maybe: {go: thanks}", "F038", 19, "maybe"),
    "no way to an end": (TALK, "{say: thanks, record: {\"wash_{n}\": done}, end: done}", "{say: thanks, go: ask}", "F039", 9, "to an end"),
    "a ring": (TALK, "  thanks: {say", "  one: {go: two}\n  two: {go: one}\n  thanks: {say", "F040", None, "comes back to itself"),
    "a missing language": (TALK, ', es: "Gracias."', "", "F041", None, "es"),
    "an empty text": (TALK, 'es: "Gracias."', 'es: " "', "F041", None, "thanks"),
    "smart quotes": (TALK, "In an hour.", "In an hour\u2019s time.", "F042", None, "U+2019"),
    "an unknown placeholder": (TALK, "{first_name}.\", es", "{fist_name}.\", es", "F043", None, "fist_name"),
    "a loose brace": (TALK, "Thank you.", "Thank you {.", "F043", None, "brace"),
    "a line that is not there": (TALK, "say: later_ok", "say: later_okay", "F044", None, "later_okay"),
    "a nudge that is not there": (TALK, '  nudge: {en: "Wash {n}?", es: "Lavado {n}?"}\n', "", "F045", 13, "nudge"),
    "no simpler question": (TALK, '  simpler: {en: "Is it done?", es: "Ya lo hizo?"}\n', "", "F045", 13, "simpler"),
    "a choice without a label": (TALK, '  later: {en: "Later", es: "Luego"}\n', "", "F046", 13, "later"),
    "a line nobody says": (TALK, "wording:\n", 'wording:\n  old: {en: "Old.", es: "Viejo."}\n', "F047", 26, "old"),
    "an unknown fact": (TALK, "{if: {smoker: true}", "{if: {smokes: true}", "F050", None, "smokes"),
    "a value the fact never has": (PROTOCOL, "[hip, knee]", "[hip, elbow]", "F051", None, "elbow"),
    "an unknown source": (TALK, "sources: [our-choice]", "sources: [a-dream]", "F052", None, "a-dream"),
    "no source": (PROTOCOL, "sources: [our-choice]", "sources: []", "F052", 6, "no source"),
    "an unknown conversation": (PROTOCOL, "flow: wash", "flow: wosh", "F053", 6, "wosh"),
    "an unknown reason": (TALK, "escalate: silent", "escalate: sillent", "F054", None, "sillent"),
    "an anchor without a time": (PROTOCOL, 'wash_day, at: "17:00"', "wash_day", "F056", None, "time of day"),
    "a wrong anchor": (PROTOCOL, "anchor: wash_day", "anchor: start", "F056", None, "elapsed minutes"),
    "an unknown anchor": (PROTOCOL, "anchor: wash_day", "anchor: washday", "F012", None, "anchor"),
    "teaching in the night": (PROTOCOL, "priority: time_critical", "time_critical: true", "F057", 8, "quiet hours"),
    "an alarm that asks first": ("talks/alarm_symptom.yaml", "    starts: [{flow: call_check, after: 60m}]\n", "", "F060", 13, "call_check"),
    "a line the chat needs": ("talks/system.yaml", '  help: {en: "Line.", es: "Gracias."}\n', "", "F062", 9, "help"),
    "a reason the chat needs": ("escalations.yaml", "  fever:", "  feever:", "F062", 6, "fever"),
    "a rule out of bounds": (RULES, "value: 8.0", "value: 80.0", "F012", None, "food_hours"),
    "an unknown rule": (RULES, "food_hours:", "feud_hours:", "F010", None, "feud_hours"),
    "a file of another name": (TALK, "flow: wash", "flow: washing", "F025", None, "washing"),
    "a base that is not there": ("protocol/knee.yaml", "base: joint", "base: join", "F021", None, "base"),
}  # fmt: skip


def test_the_small_content_is_sound(tmp_path: Path) -> None:
    assert faults_in(sound(tmp_path), date(2026, 12, 1)) == ()


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_seeded_mistake_is_found_where_it_is(mistake: str, tmp_path: Path) -> None:
    file, old, new, code, line, words = MISTAKES[mistake]
    root = sound(tmp_path)
    at = spoil(root, file, old, new)
    faults = [f for f in faults_in(root) if f.code == code and f.file == f"flows/{file}"]
    assert faults, [str(fault) for fault in faults_in(root)]
    assert (line or at) in {fault.line for fault in faults}, [str(fault) for fault in faults]
    assert any(words in fault.what or words in fault.mend for fault in faults)
    assert all(fault.mend.endswith(".") and not fault.what.endswith(".") for fault in faults)


def test_all_faults_are_found_at_once(tmp_path: Path) -> None:
    root = sound(tmp_path)
    spoil(root, TALK, "nudges: 1", "nudgez: 1")
    spoil(root, RULES, "value: 8.0", "value: 80.0")
    spoil(root, PROTOCOL, "flow: wash", "flow: wosh")
    files = {fault.file for fault in faults_in(root)}
    assert files >= {f"flows/{name}" for name in (TALK, RULES, PROTOCOL)}


def test_content_past_its_review_date_is_a_fault(tmp_path: Path) -> None:
    root = sound(tmp_path)
    assert {fault.code for fault in faults_in(root, date(2028, 1, 1))} == {"F058"}


def test_a_fault_prints_as_code_place_what_and_mend(tmp_path: Path) -> None:
    root = sound(tmp_path)
    line = spoil(root, TALK, "say: later_ok", "say: later_okay")
    printed = [str(fault) for fault in faults_in(root)]
    assert (
        f"F044 flows/talks/wash.yaml:{line}: no wording for later_okay. Add wording.later_okay."
        in printed
    )


def test_the_shipped_content_has_no_fault() -> None:
    assert [str(fault) for fault in faults_in(SHIPPED)] == []
