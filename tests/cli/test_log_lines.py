"""Logs are lines for a machine, and hold nobody's name, number or words, whatever happened."""

import json
import logging
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO

import pytest

from bot.channels.base import SendFailed
from bot.channels.recording import RecordingChannel
from bot.cli.log_lines import FIELDS, LEFT_OUT, JsonLines
from bot.cli.loops import loops_of
from bot.core.copies import CopyLevel
from bot.core.protocol import Surgery
from bot.service import dispatch
from bot.service.enrolment import CoachWish, Enrolment
from bot.store.engine import reading
from bot.wiring import build

PATIENT, COACH = "+12025550150", "+12025550151"
START = datetime(2027, 3, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


@pytest.fixture
def lines():
    """Everything that is logged by anybody, at every level, as it would be written."""
    written, root = StringIO(), logging.getLogger()
    handler, before = logging.StreamHandler(written), root.level
    handler.setFormatter(JsonLines())
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    logging.getLogger("sqlalchemy").setLevel(logging.INFO)  # statements with their values
    yield written
    root.removeHandler(handler)
    root.setLevel(before)
    logging.getLogger("sqlalchemy").setLevel(logging.WARNING)


def told(lines):
    return [json.loads(line) for line in lines.getvalue().splitlines()]


@pytest.mark.slow
def test_a_story_leaves_no_name_number_or_text_in_the_logs(lines, tmp_path, monkeypatch):
    now = [START]
    app = build(f"sqlite:///{tmp_path}/story.db", clock=lambda: now[0])
    phones = RecordingChannel(lambda: now[0], "sms")
    app.connect(phones)
    coach = CoachWish("Marguerite Vale", "sms", COACH, CopyLevel.EVERYTHING)
    wish = Enrolment("P-1", "Rosalind Vale", "sms", PATIENT, KNEE, "Dr. Ana Quill", coach=coach)
    app.care.enrol(wish)
    loops = loops_of(app, frozenset({"scheduler", "relay"}))

    def pass_time(**span):
        until = now[0] + timedelta(**span)
        while (moment := app.next_moment()) is not None and moment <= until:
            now[0] = max(moment, now[0])
            for loop in loops:
                loop._once()
        now[0] = until

    pass_time(minutes=5)
    for text in ("yes", "English", "ok", "I have a fever of 102 and my leg is red"):
        phones.receive(PATIENT, text)
        pass_time(minutes=30)
    phones.receive(COACH, "yes I am Marguerite")
    phones.fail_next(SendFailed(f"{PATIENT} of Rosalind is gone", permanent=True))
    pass_time(days=1)
    real = dispatch._fate
    monkeypatch.setattr(dispatch, "_fate", _quoting_the_patient)
    pass_time(days=1)
    monkeypatch.setattr(dispatch, "_fate", real)
    _assert_nothing_personal(app, lines)
    events = {line["event"] for line in told(lines) if line["source"].startswith("bot.")}
    assert {"scheduler came round", "relay came round"} <= events
    assert any(line["counts"].get("failed") for line in told(lines))


def _quoting_the_patient(prompt, parts, chart, now):
    raise ValueError(f"{chart.patient.name} has no {prompt.key}")


def _assert_nothing_personal(app, lines):
    with reading(app.engine) as connection:
        said = [
            text
            for table in ("inbound", "outbound")
            for (text,) in connection.exec_driver_sql(f"SELECT text FROM {table}")
        ]
    written = lines.getvalue()
    assert len(said) > 20
    assert len(written.splitlines()) > 100
    names = ["Rosalind", "Marguerite", "Vale", PATIENT[1:], COACH[1:]]
    long = [text for text in said if len(text) > 7]
    assert not [word for word in (*names, *long, *(t[:25] for t in long)) if word in written]


def test_every_line_has_the_same_fields(lines):
    own, other = logging.getLogger("bot.cli.loops"), logging.getLogger("somebody")
    own.info("relay came round", extra={"counts": {"sent": 2}})
    other.warning("Rosalind has a fever")
    other.warning("failed for %s", "Rosalind")
    try:
        raise ValueError("Rosalind has a fever")
    except ValueError:
        own.exception("it failed")
    mine = [line for line in told(lines) if line["source"] in ("bot.cli.loops", "somebody")]
    assert all(tuple(line) == FIELDS for line in mine)
    assert [line["event"] for line in mine] == [
        "relay came round", LEFT_OUT, "failed for %s", "it failed",
    ]  # fmt: skip
    assert mine[0]["counts"] == {"sent": 2}
    assert mine[3]["error"] == "ValueError"
    assert "test_log_lines.py:" in mine[3]["place"]
    assert "Rosalind" not in lines.getvalue()
