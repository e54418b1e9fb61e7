"""What must come about once the faults have stopped: nothing lost, each alarm followed up."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import timedelta

from bot.simulate.audit_timetable import SETTLED_BY
from bot.simulate.evidence import Evidence, Line
from bot.simulate.network import CHANNEL

TAKEN_UP_BY = timedelta(hours=8)  # an alarm is in a person's hands, all faults included
_NEWS = ("worse", "returned", "acknowledged", "patient_reached", "decided", "undone")
_ALLOWED = timedelta(minutes=25)  # notices closer together are one
_IN_VAIN = 3  # times that one person is told before another has to be
_ENDED = ("sent", "failed", "unknown", "withdrawn")


def lost(logs: Evidence) -> Iterator[str]:
    """What was written and not stored or read, what waits for ever, what only counts as sent."""
    heard = {row["provider_message_id"] for row in logs.inbound}
    read = {row["inbound_id"] for row in logs.readings}
    taken, long_ago = {each.key for each in logs.taken}, logs.end - SETTLED_BY
    yield from (f"in: {w.id} was never stored" for w in logs.written if w.id not in heard)
    for row in logs.inbound:
        if row["patient_id"] is not None and row["id"] not in read:
            yield f"in: {row['provider_message_id']} was stored and never read"
    for row in logs.outbound:
        if row["state"] == "sent" and row["channel"] == CHANNEL and row["key"] not in taken:
            yield f"out: {row['key']} counts as sent and was not"
        if row["state"] not in _ENDED and row["queued_at"] < long_ago and not _held(row):
            yield f"out: {row['key']} still stands at {row['state']}"
    for row in logs.prompts:
        if row["state"] == "planned" and row["due"] < long_ago:
            yield f"prompt: {row['key']} of patient {row['patient_id']} was due and is not settled"


def _held(row: Line) -> bool:
    """An invitation waits as long as the patient's own consent does."""
    return bool(row["state"] == "held" and row["key"].startswith("invite."))


def not_climbing(logs: Evidence) -> Iterator[str]:
    """A case that is announced to one person again and again, and to nobody else."""
    told: dict[int, list[Line]] = defaultdict(list)
    for entry in logs.entries:
        row, case = told[entry["escalation_id"]], entry["escalation_id"]
        if entry["step"] != "nurse_notified":
            if entry["step"] in _NEWS:
                row.clear()
            continue
        if row and row[-1]["who"] != entry["who"]:
            row.clear()
        if not row or entry["at"] - row[-1]["at"] >= _ALLOWED:
            row.append(entry)
        if len(row) == _IN_VAIN:
            yield f"case {case}: {entry['who']} alone was told {_IN_VAIN} times, in vain"


def alarms_unanswered(logs: Evidence) -> Iterator[str]:
    """Each alarm: its words in a case, a person told who took it up in time, the patient told."""
    yield from not_climbing(logs)
    rows = {row["provider_message_id"]: row for row in logs.inbound}
    cases = {row["id"]: row for row in logs.cases}
    for alarm in (w for w in logs.written if w.alarm and w.id in rows):
        row = rows[alarm.id]
        about = [e for e in logs.entries if e["words"] == alarm.text
                 and cases[e["escalation_id"]]["patient_id"] == row["patient_id"]]  # fmt: skip
        if not about:
            yield f"{alarm.id}: no case holds it"
            continue
        log = [e for e in logs.entries if e["escalation_id"] == about[0]["escalation_id"]]
        opened = about[0]["at"]
        by = opened + TAKEN_UP_BY
        if not any(e["step"] == "acknowledged" and opened <= e["at"] <= by for e in log):
            yield f"{alarm.id}: nobody took it up by {by}"
        if not any(e["step"] == "patient_told" for e in log):
            yield f"{alarm.id}: the patient was not told"
        if cases[about[0]["escalation_id"]]["closed_at"] is None:
            yield f"{alarm.id}: its case was never closed"
