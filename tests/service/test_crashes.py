"""Power cuts at every commit: what comes after must be what would have come without them."""

import shutil
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from sqlalchemy import event

from bot.channels.recording import RecordingChannel
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment
from bot.store import claims
from bot.store.engine import open_engine, reading
from bot.wiring import App

PHONE = "+12025550150"
KNEE = Surgery("knee", "right", date(2027, 2, 12), "America/New_York", time(7, 30))
START = datetime(2027, 2, 8, 15, tzinfo=UTC)
STEP = timedelta(hours=1)
TOGETHER = 4  # patients whose prompts are due together
HOURS = 13  # enrolment four days ahead, then half a day of prompts, answers and an alarm


class PowerCutError(BaseException):
    """Not an Exception: nothing may catch it and go on."""


class Life:
    """A process on a database file, cut off before or after its Nth commit, then started anew."""

    def __init__(self, published, empty, path, cut_at=None, *, after=False):
        shutil.copy(empty, path)
        self.published, self.path, self.after = published, path, after
        self.left = cut_at
        self.commits, self.cuts = 0, 0
        self.in_doubt = set()  # keys that were sent when the power was cut, their answer not stored
        self.now = START
        self.network = RecordingChannel(lambda: self.now, "sms")
        self.start()

    def start(self):
        self.engine = open_engine(f"sqlite:///{self.path}")
        self.app = App(replace(self.published, engine=self.engine), lambda: self.now)
        self.app.connect(self.network)
        event.listen(self.engine, "commit", self._at_commit)

    def _at_commit(self, connection):
        if connection.get_execution_options().get("sqlite_begin") == "DEFERRED":
            return  # a read: nothing to lose
        self.commits += 1
        if self.left is not None:
            self.left -= 1
            if self.left == 0:
                self.left = None
                if self.after:
                    connection.connection.driver_connection.execute("COMMIT")
                raise PowerCutError

    def do(self, action):
        """Do it; after a power cut start again and do it again, as provider and scheduler would."""
        before = len(self.network.sent)
        try:
            action()
        except PowerCutError:
            self.cuts += 1
            self.engine.dispose()
            self.start()
            with reading(self.engine) as connection:
                in_hand = claims.keys_in_hand(connection)
            self.in_doubt = {k.outgoing.key for k in self.network.sent[before:]} & in_hand
            action()


def _live(life):
    wish = Enrolment("P-1", "Rosalind Vale", "sms", PHONE, KNEE, "Dr. Ana Quill", agreed="paper")
    life.do(lambda: life.app.care.enrol(wish))
    told = {1: "1", 7: "yes", 9: "I have a fever of 101.5", 10: "today", 12: "yes"}
    for hour in range(HOURS):
        life.do(life.app.run_due)
        if hour in told:
            life.do(lambda h=hour: life.network.receive(PHONE, told[h], message_id=f"m{h}"))
        life.do(life.app.run_due)
        life.now += STEP
    for _ in range(2):  # what a cut left half sent is taken up by the next rounds
        life.do(life.app.run_due)
        life.now += STEP
    return _record(life)


def _record(life):
    """Everything but the order in which the log learned that a message was accepted: a sender that
    died is found five minutes later."""
    queries = (
        "SELECT key, state FROM planned_prompt ORDER BY key, generation",
        "SELECT key, state, text FROM outbound WHERE to_role != 'nurse' ORDER BY key",
        "SELECT name, state, substr(text, 1, 60) FROM outbound WHERE to_role = 'nurse' ORDER BY id",
        "SELECT step, who, words, reason FROM escalation_event ORDER BY 1, 2, 3, 4",
        "SELECT name, value FROM item ORDER BY name",
        "SELECT body FROM conversation",
        "SELECT text FROM inbound ORDER BY id",
    )
    with life.engine.connect() as connection:
        return [connection.exec_driver_sql(query).all() for query in queries]


@pytest.mark.slow
@pytest.mark.parametrize("after", [False, True], ids=["before the commit", "after the commit"])
def test_a_power_cut_at_any_commit_changes_nothing_in_the_record(
    published, empty_record, tmp_path, after
):
    whole = Life(published, empty_record, tmp_path / "whole.db")
    expected = _live(whole)
    assert whole.commits > 50
    for cut_at in range(1, whole.commits + 1):
        life = Life(published, empty_record, tmp_path / f"{cut_at}.db", cut_at, after=after)
        got = _live(life)
        assert life.cuts == 1
        assert got == expected, f"cut at commit {cut_at}"
        keys = Counter(kept.outgoing.key for kept in life.network.sent)
        assert max(keys.values()) <= 2
        assert {key for key in keys if keys[key] > 1} <= life.in_doubt, f"cut at commit {cut_at}"


def _live_together(life):
    """Four patients whose prompts and timers are due together, without one who writes."""
    for number in range(TOGETHER):
        wish = Enrolment(
            f"P-{number}", "Rosalind Vale", "sms", PHONE[:-1] + str(number), KNEE,
            "Dr. Ana Quill", agreed="paper",
        )  # fmt: skip
        life.do(lambda wish=wish: life.app.care.enrol(wish))
    for hour in range(6):
        life.do(life.app.run_due)
        life.now += STEP
        if hour == 3:
            life.commits_to_cut = life.commits  # what is cut later is not taken up in time
    return _record(life)


@pytest.mark.slow
@pytest.mark.parametrize("after", [False, True], ids=["before the commit", "after the commit"])
def test_a_power_cut_at_a_commit_that_patients_share_loses_and_doubles_nothing(
    published, empty_record, tmp_path, after
):
    whole = Life(published, empty_record, tmp_path / "whole.db")
    expected = _live_together(whole)
    assert len(whole.network.sent) >= 3 * TOGETHER
    in_doubt = []
    for cut_at in range(TOGETHER + 1, whole.commits_to_cut + 1):
        life = Life(published, empty_record, tmp_path / f"{cut_at}.db", cut_at, after=after)
        assert _live_together(life) == expected, f"cut at commit {cut_at}"
        keys = Counter(kept.outgoing.key for kept in life.network.sent)
        assert max(keys.values()) <= 2
        assert {key for key in keys if keys[key] > 1} <= life.in_doubt, f"cut at commit {cut_at}"
        in_doubt.append(len(life.in_doubt))
    assert max(in_doubt) == (0 if after else TOGETHER)
