"""What must never be, whatever the faults: twice, out of order, after a stop, without consent."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime

from bot.simulate.evidence import Evidence, Line
from bot.simulate.lives import ALWAYS, Life


def doubled(logs: Evidence) -> Iterator[str]:
    """What took effect twice, on a phone, at the provider or in the record."""
    answered = Counter(each.key for each in logs.taken if each.answered)
    yield from (f"out: {key} was taken {n} times" for key, n in answered.items() if n > 1)
    tries = Counter(each.key for each in logs.taken if not each.key.startswith("case."))
    yield from (f"out: {key} was sent {n} times" for key, n in tries.items() if n > 2)
    on_record = {row["key"] for row in logs.outbound}
    for each in logs.taken:
        if each.key not in on_record:
            yield f"out: {each.key} is a key of no message: the provider cannot know a repeat by it"
    stored = Counter(row["provider_message_id"] for row in logs.inbound)
    yield from (f"in: {key} is stored {n} times" for key, n in stored.items() if n > 1)
    known = {each.id for each in logs.written}
    yield from (f"in: {key} is stored once more than written" for key in stored if key not in known)
    yield from _told_twice(logs)
    yield from _doubled_in_plan(logs)


def _told_twice(logs: Evidence) -> Iterator[str]:
    """The same words to one phone at one moment, more often than anybody gave cause for.

    A nurse's notice may come twice: a repeat does no harm there, a miss does.
    """
    patients = {row["id"]: row["patient_id"] for row in logs.cases}
    heard = Counter((row["address"], row["handled_at"]) for row in logs.inbound)
    decided = Counter((patients[entry["escalation_id"]], entry["at"]) for entry in logs.entries
                      if entry["step"] == "decided")  # fmt: skip
    told = Counter((row["address"], row["queued_at"], row["text"], row["patient_id"])
                   for row in logs.outbound if row["to_role"] != "nurse")  # fmt: skip
    for (address, at, _, patient), n in told.items():
        if n > max(heard[address, at], decided[patient, at], 1):
            yield f"out: {n} times the same to {address} at {at}"


def _doubled_in_plan(logs: Evidence) -> Iterator[str]:
    prompts = Counter((r["surgery_id"], r["key"], r["changed_at"]) for r in logs.prompts
                      if r["state"] == "sent")  # fmt: skip
    yield from (f"prompt: {key} sent twice" for key, n in prompts.items() if n > 1)
    washes = Counter((row["patient_id"], row["generation"], row["at"]) for row in logs.items
                     if row["name"].startswith("wash_") and row["value"] == "done")  # fmt: skip
    for key, n in washes.items():
        if n > 1:
            yield f"item: {n} washes of patient {key[0]} were done at {key[2]}, by one answer"


def out_of_order(logs: Evidence) -> Iterator[str]:
    """Messages that the provider got for one phone in another order than they were written."""
    places = {row["key"]: row["id"] for row in logs.outbound}
    last: dict[str, int] = defaultdict(int)
    for each in logs.taken:
        place = places.get(each.key, 0)
        if place < last[each.address]:
            yield f"out: {each.key} came to {each.address} after a later one"
        last[each.address] = max(place, last[each.address])


def after_stop(logs: Evidence) -> Iterator[str]:
    """After a STOP a phone gets one answer to each message of its own, and nothing else.

    By the phone's own log: what was written down before the STOP and sent after it counts too.
    """
    stops = _stops(logs.inbound)
    moments = {(row["address"], row["handled_at"]) for row in logs.inbound}
    rows = {row["key"]: row for row in logs.outbound}
    for each in logs.taken:
        row = rows.get(each.key)
        if row is None or row["escalation_id"] is not None:
            continue
        own = (each.address, row["queued_at"]) in moments
        for since, place, until in stops.get(each.address, ()):
            if since < each.at < until and not (own and row["queued_at"] >= since):
                yield f"out: {each.key} to {each.address} at {each.at}, after the STOP of {place}"


def _stops(inbound: Sequence[Line]) -> dict[str, list[tuple[datetime, str, datetime]]]:
    """By address: (when a STOP was heard, its id, when a START ended it)."""
    found: dict[str, list[tuple[datetime, str, datetime]]] = defaultdict(list)
    for row in inbound:
        spans = found[row["address"]]
        if row["text"] == "STOP":
            spans.append((row["handled_at"], row["provider_message_id"], ALWAYS))
        elif row["text"] in ("START", "yes") and spans:
            spans[-1] = (*spans[-1][:2], row["handled_at"])
    return found


def without_consent(logs: Evidence, everyone: Sequence[Life]) -> Iterator[str]:
    """What went to a phone whose owner had not agreed to it, or told a coach too much."""
    rows = {row["key"]: row for row in logs.outbound}
    by_id = {life.patient: life for life in everyone}
    levels = {row["id"]: row["level"] for row in logs.coaches}
    heard = {(row["address"], row["handled_at"]) for row in logs.inbound}
    for each in logs.taken:
        patient, coach = logs.addresses.get(each.address, (0, None))
        row, life = rows.get(each.key), by_id.get(patient)
        if row is None or life is None or (each.address, row["queued_at"]) in heard:
            continue
        if coach is None:
            yield from _to_patient(row, life)
        else:
            quotes = levels[coach] != "everything" and _quotes(logs, life, each.text)
            yield from _to_coach(row, life, quotes=quotes)


def _to_patient(row: Line, life: Life) -> Iterator[str]:
    """Before the yes, and after a no, only its own question goes out, or what a nurse decided."""
    if life.wants(row["queued_at"]) or row["escalation_id"]:
        return
    if row["prompt_key"] not in (None, "consent_first"):
        yield f"out: {row['key']} about {row['prompt_key']} before any consent, or after it"


def _to_coach(row: Line, life: Life, *, quotes: bool) -> Iterator[str]:
    invited = row["key"].startswith("invite.") and life.first_yes is not None
    if not invited and not life.has_coach(row["queued_at"]):
        yield f"out: {row['key']} to a coach who had not joined"
    if quotes:
        yield f"out: {row['key']} tells a coach the patient's own words"


def _quotes(logs: Evidence, life: Life, text: str) -> bool:
    """True when a text holds an alarm in the patient's own words, or is nothing but their words."""
    own = (written for written in logs.written if written.address == life.address)
    return any(text == said.text or (said.alarm and said.text in text) for said in own)
