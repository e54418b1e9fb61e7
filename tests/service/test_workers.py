"""Workers that die, hang or are slow: whose a message is, and who takes it up."""

from datetime import timedelta

import pytest

from bot.core.record import OnCall
from bot.service import outbox as relaying
from bot.service import watching, workers
from bot.service.outbox import MOST_ATTEMPTS
from bot.service.workers import SILENT_FOR
from bot.store import claims, outbox
from bot.store.engine import reading, writing

IT = OnCall("IT", "sms", "+12025550199")


class KilledError(BaseException):
    """Not an Exception: nothing may catch it and go on."""


def begin(clinic, process):
    return workers.begin(clinic.app.engine, "one host", process, ("relay",), clinic.now)


def die_sending(clinic, monkeypatch, worker):
    """The worker's process ends after its claim is committed and before any answer is stored."""

    def killed(_):
        raise KilledError

    with monkeypatch.context() as patch:
        patch.setattr(clinic.phones, "send", killed)
        clinic.app.worker = worker
        with pytest.raises(KilledError):
            clinic.app.relay()


def states(clinic):
    with reading(clinic.app.engine) as connection:
        return {message.key: message.state for message in outbox.messages_of(connection)}


def test_what_a_dead_worker_had_in_hand_is_sent_as_soon_as_it_is_silent(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    first, second = begin(clinic, 1), begin(clinic, 2)
    die_sending(clinic, monkeypatch, first)
    clinic.app.worker = second
    clinic.times[0] += SILENT_FOR - timedelta(seconds=1)
    clinic.app.relay()
    assert clinic.texts() == []
    clinic.times[0] += timedelta(seconds=2)
    workers.beat(clinic.app.engine, second, clinic.now)
    clinic.app.relay()
    assert len(clinic.texts()) == 1
    assert set(states(clinic).values()) == {"sent"}


def test_a_process_that_is_gone_is_taken_off_the_list_without_waiting(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    first, second = begin(clinic, 1), begin(clinic, 2)
    die_sending(clinic, monkeypatch, first)
    assert workers.bury(clinic.app.engine, "another host", lambda process: False) == 0
    assert workers.bury(clinic.app.engine, "one host", lambda process: process == 2) == 1
    clinic.app.worker = second
    clinic.app.relay()
    assert len(clinic.texts()) == 1


def test_a_worker_that_lives_keeps_what_it_claimed_however_long_it_takes(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    slow, other = begin(clinic, 1), begin(clinic, 2)
    die_sending(clinic, monkeypatch, slow)
    for _ in range(12):
        clinic.times[0] += timedelta(minutes=1)
        workers.beat(clinic.app.engine, slow, clinic.now)
        workers.beat(clinic.app.engine, other, clinic.now)
        clinic.app.worker = other
        clinic.app.relay()
    assert clinic.texts() == []


def test_a_worker_takes_up_what_it_left_itself(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    worker = begin(clinic, 1)
    die_sending(clinic, monkeypatch, worker)
    clinic.app.relay()
    assert len(clinic.texts()) == 1


def test_what_a_sender_learns_too_late_is_not_stored_over_anothers_attempt(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    slow, other = begin(clinic, 1), begin(clinic, 2)
    with writing(clinic.app.engine) as connection:
        (in_hand,) = claims.claim(connection, clinic.now, 1, slow)
    workers.end(clinic.app.engine, slow)
    clinic.app.worker = other
    clinic.app.relay()
    with writing(clinic.app.engine) as connection:
        assert not claims.give_up(connection, in_hand, {"state": "queued"}, clinic.now)
        assert claims.accept(connection, in_hand, "p1", clinic.now)
    assert states(clinic)[in_hand.key] == "sent"
    assert len(clinic.texts()) == 1


def test_a_message_that_every_sender_dies_of_becomes_a_persons_matter(clinic, monkeypatch):
    patient = clinic.enrol()
    clinic.app.tick()
    for process in range(MOST_ATTEMPTS):
        worker = begin(clinic, process)
        die_sending(clinic, monkeypatch, worker)
        workers.end(clinic.app.engine, worker)
    clinic.app.worker = begin(clinic, 99)
    clinic.app.relay()
    assert "undelivered" in clinic.cases(patient)


def test_a_round_of_a_worker_ends_so_that_the_time_is_looked_at_anew(clinic, monkeypatch):
    monkeypatch.setattr(relaying, "ROUND", 1)
    monkeypatch.setattr(relaying, "BATCH", 1)
    clinic.enrol()
    clinic.app.tick()
    clinic.app.relay()
    clinic.app.worker = begin(clinic, 1)
    clinic.enrol(reference="P-2", address="+12025550160")
    clinic.enrol(reference="P-3", address="+12025550161")
    clinic.app.tick()
    before = len(clinic.phones.sent)
    clinic.app.relay()
    assert len(clinic.phones.sent) == before + 1
    clinic.app.relay()
    assert len(clinic.phones.sent) == before + 2


def test_a_scheduler_that_stands_still_is_seen_and_told_of_once_in_half_an_hour(clinic):
    clinic.enrol()
    engine = clinic.app.engine
    assert watching.standstills(engine, clinic.now) == []
    clinic.times[0] += timedelta(minutes=3)
    (found,) = watching.standstills(engine, clinic.now)
    assert found.role == "scheduler"
    assert watching.tell(engine, [found], [IT], clinic.now) == 1
    assert watching.tell(engine, [found], [IT], clinic.now) == 0
    clinic.app.relay()
    (told,) = clinic.texts(IT.address)
    assert "scheduler stands still since" in told and "countdown doctor" in told
    assert watching.tell(engine, [found], [IT], clinic.now + watching.AGAIN) == 1
    clinic.run()
    assert watching.standstills(engine, clinic.now) == []


def test_a_relay_that_stands_still_is_seen(clinic):
    clinic.enrol()
    clinic.app.tick()
    clinic.times[0] += timedelta(minutes=4)
    clinic.app.tick()
    assert watching.standstills(clinic.app.engine, clinic.now) == []
    clinic.times[0] += timedelta(minutes=2)
    clinic.app.tick()
    assert [each.role for each in watching.standstills(clinic.app.engine, clinic.now)] == ["relay"]


def test_roles_that_no_living_worker_holds_are_named(clinic):
    engine = clinic.app.engine
    assert watching.missing_roles(engine, clinic.now) == list(watching.NEEDED)
    worker = workers.begin(engine, "a", 1, ("scheduler", "web"), clinic.now)
    assert watching.missing_roles(engine, clinic.now) == ["relay", "receiver"]
    workers.beat(engine, worker, clinic.now + SILENT_FOR)
    assert watching.missing_roles(engine, clinic.now + SILENT_FOR) == ["relay", "receiver"]
    later = clinic.now + SILENT_FOR * 3
    assert watching.missing_roles(engine, later) == list(watching.NEEDED)
    assert not workers.beat(engine, worker + 1, later)
