"""How long the server takes for each page of the nurse, on a clinic of 5,000 patients.

    .venv/bin/python tests/benchmarks/bench_pages.py [--patients 5000] [--messages 200000] [--times 15]

Fills a record in a temporary SQLite file with rows of the true shape (patients, surgeries,
addresses, planned prompts, messages both ways with their readings, items, escalations with their
logs), then asks for every page of the route table as a signed-in nurse, in this process, with no
network. Prints median and slowest of each page in milliseconds, and the processor time of the
median, which a busy machine does not change; exits 1 when a median passes the limit.
"""

import argparse
import random
import re
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path

from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy import Table, insert
from starlette.testclient import TestClient

from bot.config_sections import Settings
from bot.core.conversation import Conversation
from bot.core.conversation_json import conversation_to_json
from bot.core.staff import Role
from bot.service.accounts import add_account
from bot.service.signing_in import Passwords
from bot.service.views_readiness import item_columns
from bot.store.engine import writing
from bot.store.tables import CONTACT, CONVERSATION, ITEM, PATIENT, PROMPT, SURGEON, SURGERY
from bot.store.tables_log import AUDIT, ESCALATION, ESCALATION_EVENT, INBOUND, OUTBOUND, READING
from bot.web.app import make_app
from bot.web.routes import TABLE
from bot.wiring import App, build

NOW = datetime(2027, 3, 1, 15, tzinfo=UTC)
LIMIT_MS = 150
PASSWORD = "four plain words suffice"
FURTHER = [  # pages of the table in other shapes
    "/readiness?view=grid",
    "/readiness?when=all&sort=done",
    "/readiness?words=family4001",
    "/readiness?start=4000&place=3900&when=all&sort=name",
]
REASONS = (
    ("alarm", "fever", "urgent"),
    ("question", "question", "today"),
    ("silent", "silent", "today"),
)


def fill(app: App, patients: int, messages: int) -> None:
    """Put the clinic into the record, a table at a time."""
    rng = random.Random(7)
    people = range(1, patients + 1)
    each = messages // patients // 2
    body = conversation_to_json(Conversation(language="en"))
    with writing(app.engine) as connection:

        def put(table: Table, rows: list[dict[str, object]]) -> None:
            for start in range(0, len(rows), 5000):
                connection.execute(insert(table), rows[start : start + 5000])

        put(SURGEON, [{"id": n, "name": f"Dr. Number {n}"} for n in range(1, 21)])
        put(
            PATIENT,
            [
                {
                    "id": p,
                    "reference": f"P-{p}",
                    "name": f"Given{p % 97} Family{p}",
                    "born": None,
                    "enrolled_at": NOW - timedelta(days=40),
                    "dawn_agreed": False,
                }
                for p in people
            ],
        )
        put(
            CONTACT,
            [
                {
                    "channel": "sms",
                    "address": f"sim-{p}",
                    "patient_id": p,
                    "coach_id": None,
                    "stopped_at": None,
                    "wrong_at": None,
                }
                for p in people
            ],
        )
        put(
            SURGERY,
            [
                {
                    "id": p,
                    "patient_id": p,
                    "surgeon_id": 1 + p % 20,
                    "joint": "hip" if p % 2 else "knee",
                    "side": "left" if p % 3 else "right",
                    "on_date": (NOW + timedelta(days=rng.randrange(-20, 60))).date(),
                    "starts_at": clock_time(7, 30) if p % 4 else None,
                    "arrive_at": None,
                    "zone": "America/New_York",
                    "status": "planned",
                    "revision": 1,
                    "nurse_due": None,
                }
                for p in people
            ],
        )
        put(
            CONVERSATION,
            [{"patient_id": p, "body": body, "version": 0, "wake_at": None} for p in people],
        )
        items = _items(app)
        put(
            ITEM,
            [
                {
                    "patient_id": p,
                    "name": name,
                    "generation": 1,
                    "value": "done",
                    "by": "patient",
                    "at": NOW,
                }
                for p in people
                for name in items[: p % len(items)]
            ],
        )
        put(
            PROMPT,
            [
                {
                    "patient_id": p,
                    "surgery_id": p,
                    "key": f"{name}.{n}",
                    "generation": 1,
                    "parts": [
                        {
                            "prompt": name,
                            "flow": name,
                            "values": {},
                            "key": f"{name}.{n}",
                            "item": name,
                            "catch_up": False,
                        }
                    ],
                    "due": NOW + timedelta(days=n - 20),
                    "closes": NOW + timedelta(days=n - 19),
                    "to_role": "patient",
                    "priority": "teaching",
                    "late": "send",
                    "time_critical": False,
                    "state": "sent" if n < 20 else "planned",
                    "reason": "",
                    "changed_at": NOW,
                }
                for p in people
                for n, name in enumerate(items)
            ],
        )
        outbound, inbound, readings = [], [], []
        for p in people:
            for n in range(each):
                at = NOW - timedelta(days=30, hours=-n * 12, minutes=p % 600)
                outbound.append(
                    {
                        "key": f"m{p}.{n}",
                        "patient_id": p,
                        "escalation_id": None,
                        "to_role": "patient",
                        "name": "",
                        "channel": "sms",
                        "address": f"sim-{p}",
                        "text": "Reminder from your care team. Reply 1 when done.",
                        "choices": [],
                        "prompt_key": None,
                        "queued_at": at,
                        "not_after": None,
                        "state": "sent",
                        "reason": "",
                        "attempts": 1,
                        "next_try_at": at,
                        "changed_at": at,
                        "provider_id": f"s{p}.{n}",
                        "delivery": "",
                    }
                )
                number = len(inbound) + 1
                inbound.append(
                    {
                        "id": number,
                        "channel": "sms",
                        "provider_message_id": f"r{p}.{n}",
                        "address": f"sim-{p}",
                        "patient_id": p,
                        "by_role": "patient",
                        "text": "1",
                        "received_at": at,
                        "handled_at": at + timedelta(minutes=3),
                    }
                )
                readings.append(
                    {
                        "inbound_id": number,
                        "asked": "",
                        "act": "yes",
                        "also": [],
                        "symptoms": [],
                        "alert": False,
                        "because": ["1"],
                    }
                )
        put(OUTBOUND, outbound)
        put(INBOUND, inbound)
        put(READING, readings)
        put(AUDIT, _moves(people))
        _put_escalations(put, rng, patients)


def _items(app: App) -> tuple[str, ...]:
    """Every item of a countdown, as the protocol has them."""
    return tuple(c.name for c in item_columns(app.practice))


def _moves(people) -> list[dict[str, object]]:
    """One in five was given another date, and every record was looked at ten times."""
    looked = {"who": "Bench Nurse", "what": "viewed a patient", "detail": {"account": 1}}
    changed = {"who": "Bench Nurse", "what": "moved the surgery"}
    rows = [{"at": NOW, "patient_id": p, **looked} for p in people for _ in range(10)]
    detail = {"from": "2027-03-08", "to": "2027-03-15"}
    return rows + [
        {"at": NOW - timedelta(days=p % 9), "patient_id": p, "detail": detail, **changed}
        for p in people
        if p % 5 == 0
    ]


def _put_escalations(put, rng, patients) -> None:
    """Two in five patients had one; 300 are open."""
    cases, events = [], []
    for number in range(1, 2 * patients // 5 + 1):
        topic, reason, severity = REASONS[number % 3]
        at = NOW - timedelta(minutes=5 * number)
        is_open = number <= 300
        cases.append(
            {
                "id": number,
                "patient_id": number,
                "topic": topic,
                "severity": severity,
                "standing": "opened" if is_open else "closed",
                "opened_at": at,
                "deadline_at": at + timedelta(hours=1) if is_open else None,
                "closed_at": None if is_open else at + timedelta(hours=3),
                "disposition": None if is_open else "goes_ahead",
            }
        )
        steps = ["opened", "nurse_notified", "answered"]
        if not is_open:
            steps += ["acknowledged", "patient_reached", "decided", "closed"]
        for place, step in enumerate(steps):
            events.append(
                {
                    "escalation_id": number,
                    "place": place,
                    "step": step,
                    "at": at + timedelta(minutes=place),
                    "who": "coach bot",
                    "note": "",
                    "words": "I have a fever of 101.5" if place == 0 else "",
                    "reason": reason if place == 0 else "",
                    "severity": severity if place == 0 else "",
                    "detail": {"disposition": "goes_ahead"} if step == "decided" else {},
                }
            )
    rng.shuffle(cases)
    put(ESCALATION, cases)
    put(ESCALATION_EVENT, events)


def measure(app: App, times: int) -> list[tuple[str, int, float, float, float]]:
    """(path, status, median ms, slowest ms, median of processor ms) of every page."""
    quick = Passwords(Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1))
    add_account(app.engine, quick, "Bench Nurse", list(Role), PASSWORD, NOW)
    web = make_app(app, Settings(), passwords=quick)
    browser = TestClient(web, raise_server_exceptions=False)
    token = re.search(r'name="token" value="(\w+)"', browser.get("/sign-in").text).group(1)
    form = {"token": token, "name": "Bench Nurse", "password": PASSWORD}
    browser.post("/sign-in", data=form, headers={"origin": "http://testserver"})
    found = []
    paths = [
        re.sub(r"\{\w+(:\w+)?\}", "7", line.path)
        for line in TABLE
        if line.method == "GET" and not line.open
    ]
    for path in paths + FURTHER:
        taken, busy, answer = [], [], None
        for _ in range(times + 1):
            began, worked = time.perf_counter(), time.process_time()
            answer = browser.get(path, follow_redirects=False)
            taken.append((time.perf_counter() - began) * 1000)
            busy.append((time.process_time() - worked) * 1000)
        cpu = statistics.median(busy[1:])
        found.append((path, answer.status_code, statistics.median(taken[1:]), max(taken[1:]), cpu))
    return found


def main() -> int:
    """Fill, measure, print, judge."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--patients", type=int, default=5000)
    ask.add_argument("--messages", type=int, default=200_000)
    ask.add_argument("--times", type=int, default=15)
    asked = ask.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        app = build(f"sqlite:///{Path(folder) / 'clinic.db'}", clock=lambda: NOW)
        began = time.perf_counter()
        fill(app, asked.patients, asked.messages)
        print(
            f"{asked.patients} patients, {asked.messages} messages in {time.perf_counter() - began:.0f} s"
        )
        results = measure(app, asked.times)
        app.close()
    print(f"{'page':52}{'status':>7}{'median':>9}{'slowest':>9}{'processor':>11}  ms")
    for path, status, median, slowest, cpu in results:
        late = "  over the limit" if median > LIMIT_MS and not path.endswith(".csv") else ""
        print(f"{path:52}{status:7}{median:9.1f}{slowest:9.1f}{cpu:11.1f}{late}")
    judged = [r for r in results if not r[0].endswith(".csv")]  # a file, not a page
    return int(any(status != 200 or median > LIMIT_MS for _, status, median, *_ in judged))


if __name__ == "__main__":
    sys.exit(main())
