"""Works out from the logs alone what should have happened, and compares it with what did."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from bot.simulate.evidence import Evidence
from bot.simulate.network import CHANNEL

SETTLED_BY = timedelta(hours=12)  # before the end: whatever was due earlier must be settled
TAKEN_UP_BY = timedelta(hours=8)  # an alarm is in a person's hands, all faults included
_ENDED = ("sent", "failed", "unknown", "withdrawn")


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything that should not be, in words, by kind. All empty: the run kept its promises."""

    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    out_of_order: list[str] = field(default_factory=list)
    alarms_unanswered: list[str] = field(default_factory=list)
    at_wrong_times: list[str] = field(default_factory=list)
    after_stop: list[str] = field(default_factory=list)

    @property
    def clean(self) -> bool:
        """True when nothing was found."""
        return not any(getattr(self, name) for name in self.__dataclass_fields__)


def audit(logs: Evidence) -> Findings:
    """Compare the record with the phones' and the provider's own logs."""
    return Findings(
        lost=list(_lost(logs)),
        doubled=list(_doubled(logs)),
        out_of_order=list(_out_of_order(logs)),
        alarms_unanswered=list(_unanswered(logs)),
        at_wrong_times=list(_at_wrong_times(logs)),
        after_stop=list(_after_stop(logs)),
    )


def _lost(logs: Evidence) -> Iterator[str]:
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
        if row["state"] not in _ENDED and row["queued_at"] < long_ago:
            yield f"out: {row['key']} still stands at {row['state']}"
    for row in logs.prompts:
        if row["state"] == "planned" and row["due"] < long_ago:
            yield f"prompt: {row['key']} of patient {row['patient_id']} was due and is not settled"


def _doubled(logs: Evidence) -> Iterator[str]:
    answered = Counter(each.key for each in logs.taken if each.answered)
    yield from (f"out: {key} was taken {n} times" for key, n in answered.items() if n > 1)
    tries = Counter(each.key for each in logs.taken if not each.key.startswith("case."))
    yield from (f"out: {key} was sent {n} times" for key, n in tries.items() if n > 2)
    stored = Counter(row["provider_message_id"] for row in logs.inbound)
    yield from (f"in: {key} is stored {n} times" for key, n in stored.items() if n > 1)
    known = {each.id for each in logs.written}
    yield from (f"in: {key} is stored once more than written" for key in stored if key not in known)
    unasked = Counter((row["address"], row["queued_at"], row["text"]) for row in logs.outbound)
    yield from (f"out: twice to {key[0]} at {key[1]}" for key, n in unasked.items() if n > 1)
    prompts = Counter((r["surgery_id"], r["key"], r["changed_at"]) for r in logs.prompts
                      if r["state"] == "sent")  # fmt: skip
    yield from (f"prompt: {key} sent twice" for key, n in prompts.items() if n > 1)


def _out_of_order(logs: Evidence) -> Iterator[str]:
    places = {row["key"]: row["id"] for row in logs.outbound}
    last: dict[str, int] = defaultdict(int)
    for each in logs.taken:
        place = places.get(each.key, 0)
        if place < last[each.address]:
            yield f"out: {each.key} came to {each.address} after a later one"
        last[each.address] = max(place, last[each.address])


def _unanswered(logs: Evidence) -> Iterator[str]:
    """Each alarm: its words in a case, a person told who took it up in time, the patient told."""
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


def _at_wrong_times(logs: Evidence) -> Iterator[str]:
    """Planned prompts that nobody allowed to come in quiet hours come by day, where they live."""
    zones = {row["id"]: ZoneInfo(row["zone"]) for row in logs.surgeries}
    wake, hush = logs.rules.wake, logs.rules.hush
    for row in logs.prompts:
        at = row["due"].astimezone(zones[row["surgery_id"]]).time()
        first = row["key"].startswith(("consent", "welcome"))
        if row["state"] == "sent" and not (row["time_critical"] or first or wake <= at <= hush):
            yield f"prompt: {row['key']} of patient {row['patient_id']} came at {at}"


def _after_stop(logs: Evidence) -> Iterator[str]:
    """After a STOP a phone gets one answer to each message of its own, and nothing else."""
    stops: dict[str, datetime] = {}
    for row in logs.inbound:
        if row["text"] == "STOP":
            stops[row["address"]] = row["handled_at"]
        elif row["text"] == "START":
            stops.pop(row["address"], None)
    moments = {(row["address"], row["handled_at"]) for row in logs.inbound}
    for row in logs.outbound:
        since = stops.get(row["address"])
        own = (row["address"], row["queued_at"]) in moments
        if since and row["queued_at"] > since and not own and row["escalation_id"] is None:
            yield f"out: {row['key']} to {row['address']} after its STOP"
