"""A small content directory that is sound, for seeding one mistake at a time."""

from pathlib import Path

from bot.content.check import NEEDED_FLOWS, NEEDED_LINES, NEEDED_REASONS
from bot.core.handout import HANDOUT_LINES
from bot.reading.reading import Symptom

FACTS = """\
facts:
  joint: {kind: text, values: [hip, knee], default: knee, meaning: "Joint"}
  smoker: {kind: bool, default: false, meaning: "Smokes"}
  age: {kind: number, default: 70, meaning: "Age"}
  since: {kind: text, default: "", meaning: "Since when"}
placeholders:
  first_name: {meaning: "First name", example: "Rosalind"}
  call_number: {meaning: "Number to call", example: "+1-202-555-0110"}
  n: {meaning: "Number of the wash", example: "1"}
"""
SOURCES = """\
our-choice: {title: "Our choice", status: our-choice}
"""
RULES = """\
hospital: {value: "Alder Creek Hospital", sources: [our-choice]}
surgeon: {value: "Dr. Ana Quill", sources: [our-choice]}
phones:
  value: {office: "+1-202-555-0110", after_hours: "+1-202-555-0111", nurse: "+1-202-555-0112"}
  sources: [our-choice]
hours:
  value:
    days: {0: ["08:00", "16:30"]}
    holidays: ["2027-01-01"]
  sources: [our-choice]
food_hours: {value: 8.0, sources: [our-choice]}
"""
OVERLAY = """\
surgeon: {value: "Dr. Leonie Marsh", sources: [our-choice]}
wash_days: {value: [-1, 0], sources: [our-choice]}
"""
PROTOCOL = """\
protocol: joint
title: Countdown
owner: Nurse educator
review_by: 2027-11-01
prompts:
  - id: wash
    flow: wash
    when: {anchor: wash_day, at: "17:00"}
    priority: time_critical
    only_if: {joint: [hip, knee], age: {at_least: 18}}
    window: 5h
    item: "wash_{n}"
    sources: [our-choice]
"""
KNEE = """\
protocol: knee
base: joint
title: Countdown to a knee
owner: Nurse educator
review_by: 2027-11-01
prompts: []
"""
WASH = """\
flow: wash
title: Antiseptic wash
owner: Nurse educator
review_by: 2027-11-01
priority: time_critical
sources: [our-choice]
start: gate
states:
  gate:
    branch:
      - {if: {smoker: true}, go: ask}
      - {go: ask}
  ask:
    say: ask
    asked: wash
    choices: [done, later]
    replies:
      done: {go: thanks}
      later: {say: later_ok, wait: 60m}
    silence: {nudge_after: 90m, nudges: 1, coach_after: 1h, nurse_after: 60m, escalate: silent}
  thanks: {say: thanks, record: {"wash_{n}": done}, end: done}
labels:
  done: {en: "Done", es: "Hecho"}
  later: {en: "Later", es: "Luego"}
wording:
  ask: {en: "Wash {n} now, {first_name}.", es: "Lavado {n} ahora, {first_name}."}
  later_ok: {en: "In an hour.", es: "En una hora."}
  thanks: {en: "Thank you.", es: "Gracias."}
  nudge: {en: "Wash {n}?", es: "Lavado {n}?"}
  simpler: {en: "Is it done?", es: "Ya lo hizo?"}
  coach_ask: {en: "Please ask.", es: "Por favor pregunte."}
"""
ALARM = """\
flow: {name}
title: Alarm
owner: Nurse educator
review_by: 2027-11-01
priority: safety
health: true
sources: [our-choice]
start: tell
states:
  tell:
    say: tell
    starts: [{{flow: call_check, after: 60m}}]
    go: since
  since:
    say: since
    asked: choice
    replies:
      any: {{go: thanks, learn: {{since: "{{text}}"}}}}
    silence: {{nudge_after: 15m, nurse_after: 15m, escalate: silent}}
  thanks: {{say: since, end: told}}
wording:
  tell: {{en: "Call {{call_number}}.", es: "Llame al {{call_number}}."}}
  since: {{en: "Since when?", es: "Desde cuando?"}}
  nudge: {{en: "Since when?", es: "Desde cuando?"}}
"""


def lines(name: str, keys: tuple[str, ...]) -> str:
    """A talk that only holds lines."""
    head = f"flow: {name}\ntitle: Lines\nowner: Nurse educator\nreview_by: 2027-11-01\n"
    body = "sources: [our-choice]\nstart: lines\nstates:\n  lines: {end: lines}\nwording:\n"
    return head + body + "".join(f'  {key}: {{en: "Line.", es: "Gracias."}}\n' for key in keys)


def escalations() -> str:
    """Every reason that the dialogue needs."""
    plain = "severity: today, sources: [our-choice]"
    flow = "severity: urgent, flow: alarm_symptom, sources: [our-choice]"
    text = "minutes:\n"
    for grave in ("emergency", "urgent", "today", "routine"):
        text += f"  {grave}: {{acknowledge: 10, reach: 20, decide: 60}}\n"
    text += "reasons:\n"
    for name in NEEDED_REASONS:
        text += f'  {name}: {{title: "{name}", {plain}}}\n'
    for symptom in Symptom:
        text += f'  {symptom.value}: {{title: "{symptom.value}", {flow}}}\n'
    return text


def sound(directory: Path) -> Path:
    """Write the sound content into `directory`/flows."""
    root = directory / "flows"
    files = {
        "facts.yaml": FACTS,
        "sources.yaml": SOURCES,
        "escalations.yaml": escalations(),
        "rules/default.yaml": RULES,
        "rules/surgeons/marsh.yaml": OVERLAY,
        "protocol/joint.yaml": PROTOCOL,
        "protocol/knee.yaml": KNEE,
        "talks/wash.yaml": WASH,
        "talks/system.yaml": lines("system", NEEDED_LINES),
        "talks/handout.yaml": lines("handout", HANDOUT_LINES),
        "talks/coach_copy.yaml": lines("coach_copy", ("alarm", "silent")),
    }
    for name in ("alarm_symptom", "alarm_emergency", "alarm_self_harm", "call_check"):
        files[f"talks/{name}.yaml"] = ALARM.format(name=name)
    for name in NEEDED_FLOWS:
        files.setdefault(f"talks/{name}.yaml", ALARM.format(name=name))
    for name, text in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return root


def spoil(root: Path, name: str, old: str, new: str) -> int:
    """Put one mistake into a file; give the line it is on."""
    path = root / name
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {name}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1
