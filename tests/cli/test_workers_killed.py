"""Four workers on PostgreSQL, one killed every second: nothing lost, nothing twice, all in order.

    KILL_SECONDS=60 python -m pytest -s tests/cli/test_workers_killed.py

The processes, the kills (SIGKILL), the database and the HTTP between them and the phones are real;
the record and the phones' own log are compared afterwards. In CI it goes on for 20 seconds.
"""

import os
import random
import signal
import socket
import time
from collections import Counter, defaultdict
from datetime import time as clock_time
from datetime import timedelta

import pytest
from sqlalchemy import text
from worker_rig import Crew, Database, Phones, settings_file, wait_until

from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment
from bot.wiring import build

pytestmark = [pytest.mark.slow, pytest.mark.peers]
SECONDS = float(os.environ.get("KILL_SECONDS", "20"))
PATIENTS = 40
REPLIES = 60  # of each phone at most, so that the talk ends
FEVERISH = 5  # patients who report a fever with their second answer
SAYS = ("1", "yes", "done", "1", "what is this", "no", "1")


@pytest.fixture
def database():
    made = Database()
    yield made
    made.end()


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def phone(number):
    return f"+1202555{number + 100:04d}"


def answer(address, _text, place):
    """Every message is answered, in ways that lead through many states; some report a fever."""
    number = int(address[-4:]) - 100
    if place == 2 and number < FEVERISH:
        return "I have a fever of 101.5"
    return SAYS[(number + place) % len(SAYS)] if place <= REPLIES else None


def enrol(app, patients=PATIENTS):
    """Patients four weeks before surgery, whose next prompts come due while workers die."""
    today = app.clock().date()
    for number in range(patients):
        surgery = Surgery(
            "knee", "left", today + timedelta(days=28), "America/New_York", clock_time(7, 30)
        )
        wish = Enrolment(
            f"W-{number}", f"Patient {number}", "sms", phone(number), surgery, "Dr. Ana Quill",
            agreed="paper",
        )  # fmt: skip
        app.care.enrol(wish)
    with app.engine.begin() as connection:
        connection.execute(
            text(
                "UPDATE planned_prompt SET due = now() + random() * :span * interval '1 second',"
                " closes = now() + interval '2 hours' WHERE id IN (SELECT id FROM (SELECT id,"
                " row_number() OVER (PARTITION BY patient_id ORDER BY due, id) AS place"
                " FROM planned_prompt WHERE state = 'planned') AS plan WHERE place <= 8)"
            ),
            {"span": SECONDS},
        )


def kill_one_every_second(crew, seconds):
    """SIGKILL to one member chosen by chance, again and again; return how many died."""
    chance, killed = random.Random(4), 0
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        time.sleep(1)
        if members := crew.members():
            os.kill(chance.choice(members), signal.SIGKILL)
            killed += 1
    return killed


def rows(app, query):
    with app.engine.connect() as connection:
        return [dict(row._mapping) for row in connection.execute(text(query))]


def settled(app):
    """Nothing waits that may go now."""
    waiting = rows(
        app,
        "SELECT (SELECT count(*) FROM outbound WHERE state IN ('queued', 'claimed')) +"
        " (SELECT count(*) FROM planned_prompt WHERE state = 'planned' AND due <= now()) AS n",
    )
    return waiting[0]["n"] == 0


def test_one_of_four_workers_killed_every_second(database, tmp_path):
    phones = Phones(answer)
    phones.port = free_port()
    app = build(database.url)
    enrol(app)
    settings = settings_file(tmp_path, database.url, phones, phones.port)
    crew = Crew(settings, 4, "scheduler", "relay", "receiver")
    try:
        wait_until(lambda: len(phones.calls) > 10 or crew.ended, 120, "the first messages")
        killed = kill_one_every_second(crew, SECONDS)
        phones.over = True
        for thread in phones.threads:
            thread.join(120)
        wait_until(lambda: settled(app), 120, "everything that was due")
    finally:
        said = crew.end()
        print(said)
    assert killed >= SECONDS * 0.7
    assert "Ended." in said
    judge(app, phones, killed)
    app.close()
    phones.end()


def waits(calls):
    """Seconds from a call whose worker died to the next call with its key."""
    last = {}
    for call in calls:
        if call.key in last:
            yield call.at - last[call.key]
        last[call.key] = call.at


def test_what_a_killed_worker_had_in_hand_is_sent_again_within_seconds(database, tmp_path):
    phones = Phones(
        lambda *_: None, takes=30.0
    )  # so that the kill comes while the answer is awaited
    phones.port = free_port()
    app = build(database.url)
    enrol(app, 2)  # so that two of the four have nothing in hand
    crew = Crew(settings_file(tmp_path, database.url, phones, phones.port), 4, "scheduler", "relay")
    in_hand = (
        "SELECT key, process FROM outbound JOIN worker ON worker.id = claimed_by"
        " WHERE state = 'claimed' ORDER BY outbound.id"
    )
    try:
        wait_until(lambda: phones.calls, 120, "the first message")
        wait_until(lambda: rows(app, in_hand), 10, "a message in hand")
        lost = rows(app, in_hand)[0]
        wait_until(lambda: lost["key"] in {call.key for call in phones.calls}, 10, "its call")
        os.kill(lost["process"], signal.SIGKILL)
        killed = time.monotonic()
        again = lambda: [call.key for call in phones.calls].count(lost["key"]) == 2  # noqa: E731
        wait_until(again, 20, "the message sent again")
        print(f"\nsent again {time.monotonic() - killed:.1f} s after the kill")
    finally:
        for member in crew.members():
            os.kill(member, signal.SIGKILL)  # they wait for the gateway
        crew.process.kill()
    app.close()
    phones.end()


def judge(app, phones, killed):
    """Compare the record with what the phones saw and wrote."""
    outbound = rows(app, "SELECT * FROM outbound WHERE channel = 'sms' ORDER BY id")
    inbound = rows(app, "SELECT * FROM inbound ORDER BY id")
    sent = [row for row in outbound if row["state"] == "sent"]
    calls = Counter(call.key for call in phones.calls)
    repeated = sum(calls.values()) - len(calls)
    gaps = sorted(waits(phones.calls))
    print(
        f"\n{killed} killed; {len(sent)} messages out, {len(inbound)} in;"
        f" {repeated} calls to the gateway repeated with their key,"
        f" after {', '.join(f'{gap:.1f}' for gap in gaps)} s"
    )
    # Nothing lost
    given_up = [row for row in outbound if row["state"] not in ("sent", "withdrawn")]
    assert [(row["state"], row["reason"], row["attempts"]) for row in given_up] == []
    assert {row["key"] for row in sent} <= set(calls)
    assert phones.acknowledged == set(phones.written)
    assert {row["provider_message_id"] for row in inbound} == set(phones.written)
    fevers = sum(said.startswith("I have a fever") for said in phones.written.values())
    alarms = rows(app, "SELECT DISTINCT patient_id FROM escalation WHERE topic = 'alarm'")
    assert len(alarms) == fevers > 0
    # Nothing twice
    assert len(inbound) == len(phones.written)
    asked = Counter((row["address"], row["queued_at"], row["text"]) for row in outbound)
    assert [each for each, times in asked.items() if times > 1] == []
    assert set(calls) <= {row["key"] for row in outbound}
    assert repeated <= killed
    assert all(gap < 30 for gap in gaps)  # the time in the dying call included
    # In order
    places = {row["key"]: row["id"] for row in outbound}
    shown = defaultdict(list)
    for call in phones.calls:
        shown[call.address].append(places[call.key])
    for address, seen in shown.items():
        assert seen == sorted(seen), address
