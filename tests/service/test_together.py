"""Messages that arrive together share a commit, and one that fails takes no other with it."""

import threading
from datetime import UTC, date, datetime, time
from itertools import count

import pytest
from sqlalchemy import event, select

from bot.channels.base import Incoming
from bot.core.protocol import Surgery
from bot.service import hearing, inbound
from bot.service.enrolment import Enrolment
from bot.service.together import Together
from bot.store.engine import reading
from bot.store.tables_log import INBOUND, OUTBOUND
from bot.wiring import App

NOW = datetime(2027, 2, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
HURT = "this one cannot be handled"


@pytest.fixture
def asked(clinic) -> App:
    """Three patients who were just asked."""
    app = clinic.app
    for n in range(3):
        wish = Enrolment(f"T-{n}", f"Patient {n}", "sms", f"phone-{n}", KNEE, "Dr. Ana Quill")
        app.care.enrol(wish)
    app.run_due()
    return app


def said(n, text="yes"):
    return Incoming("sms", f"phone-{n}", text, f"m{n}.{text}", NOW)


def kept(app):
    with reading(app.engine) as connection:
        heard = set(connection.execute(select(INBOUND.c.address)).scalars())
        keys = set(connection.execute(select(OUTBOUND.c.key)).scalars())
    return heard, {key for key in keys if key.startswith("turn.")}


def test_they_are_one_commit(asked):
    commits = []
    event.listen(asked.engine, "commit", commits.append)
    assert inbound.handle_all(asked.practice, [said(n) for n in range(3)], NOW) == [None] * 3
    assert len(commits) == 1
    assert kept(asked)[0] == {"phone-0", "phone-1", "phone-2"}


def test_one_that_fails_is_undone_alone(asked, monkeypatch):
    whole = hearing.take_turn

    def breaks(desk, heard, **rest):
        whole(desk, heard, **rest)  # everything of it is written already
        if heard.text == HURT:
            raise RuntimeError(HURT)

    monkeypatch.setattr(hearing, "take_turn", breaks)
    before = kept(asked)[1]
    found = inbound.handle_all(asked.practice, [said(0), said(1, HURT), said(2)], NOW)
    assert [str(error) if error else None for error in found] == [None, HURT, None]
    heard, keys = kept(asked)
    assert heard == {"phone-0", "phone-2"}
    assert len(keys - before) == 2


def test_a_repeat_within_one_commit_takes_effect_once(asked):
    before = kept(asked)[1]
    inbound.handle_all(asked.practice, [said(0), said(0)], NOW)
    assert len(kept(asked)[1] - before) == 1


def test_threads_that_come_while_one_works_are_taken_in_together():
    together, sizes, inside, go = Together(), [], threading.Event(), threading.Event()

    def take_in(batch):
        sizes.append(len(batch))
        if len(sizes) == 1:
            inside.set()
            go.wait(10)
        return [RuntimeError(each.text) if each.text == HURT else None for each in batch]

    outcome = {}

    def hand_in(n, text):
        try:
            together.hand_in(said(n, text), take_in)
            outcome[n] = "kept"
        except RuntimeError as error:
            outcome[n] = str(error)

    first = threading.Thread(target=hand_in, args=(0, "yes"))
    first.start()
    inside.wait(10)
    others = [
        threading.Thread(target=hand_in, args=(n, HURT if n == 2 else "yes")) for n in (1, 2, 3)
    ]
    for thread in others:
        thread.start()
    while len(together._waiting) < 3:
        pass
    go.set()
    for thread in [first, *others]:
        thread.join(10)
    assert sizes == [1, 3]
    assert outcome == {0: "kept", 1: "kept", 2: HURT, 3: "kept"}


def test_when_the_commit_fails_every_sender_hears_of_it():
    together, calls = Together(), count()

    def take_in(batch):
        if next(calls) == 0:
            raise OSError("disk full")
        return [None] * len(batch)

    with pytest.raises(OSError, match="disk full"):
        together.hand_in(said(0), take_in)
    together.hand_in(said(0), take_in)
