"""Shared commits where several workers share the patients: locked until the commit, lost by none."""

from collections import Counter
from threading import Event, Thread

import pytest
from sqlalchemy import text

from bot.service import dispatch
from bot.service.outcomes import BRIEF
from bot.service.workers import begin, end
from bot.store import claims, patients
from bot.store.engine import reading, writing

pytestmark = [pytest.mark.peers, pytest.mark.slow]
MANY = 8


def phone(n):
    return f"+120255501{50 + n}"


@pytest.fixture
def many(elsewhere):
    """Patients whose first prompts are due at this moment."""
    elsewhere.patients = [
        elsewhere.enrol(reference=f"P-{n}", address=phone(n)) for n in range(MANY)
    ]
    return elsewhere


def turns(clinic):
    """How many turns of each patient are on record."""
    with reading(clinic.app.engine) as connection:
        found = connection.execute(text("SELECT patient_id FROM outbound WHERE key LIKE 'turn.%'"))
        return Counter(found.scalars())


def states(clinic):
    with reading(clinic.app.engine) as connection:
        return Counter(connection.execute(text("SELECT state FROM outbound")).scalars())


class Held:
    """A scheduler that stops in the midst of its batch, at the turn of one patient."""

    def __init__(self, clinic, monkeypatch, patient):
        self.reached, self.go, self.process, self.error = Event(), Event(), None, None
        whole = dispatch.take_turn

        def turn(desk, happened):
            whole(desk, happened)
            if desk.patient == patient and not self.reached.is_set():
                self.process = desk.connection.exec_driver_sql("SELECT pg_backend_pid()").scalar()
                self.reached.set()
                self.go.wait(20)

        def tick():
            try:
                clinic.app.tick()
            except Exception as error:
                self.error = error

        monkeypatch.setattr(dispatch, "take_turn", turn)
        self.thread = Thread(target=tick)
        self.thread.start()
        assert self.reached.wait(20)

    def go_on(self):
        self.go.set()
        self.thread.join(20)


def test_what_a_worker_claimed_stays_its_own_until_the_shared_commit(many, monkeypatch):
    held = Held(many, monkeypatch, many.patients[3])
    late = many.enrol(reference="P-late", address=phone(20))
    assert many.app.tick().prompts == 1  # the others are passed over without waiting
    assert turns(many) == {late: 1}
    with writing(many.app.engine) as connection:
        assert [p for p in many.patients if patients.lock_if_free(connection, p)] == []
    held.go_on()
    assert held.error is None
    assert turns(many) == dict.fromkeys([*many.patients, late], 1)


def test_a_reply_waits_for_the_commit_and_finds_the_prompt_asked(many, monkeypatch):
    held = Held(many, monkeypatch, many.patients[-1])
    patient, done = many.patients[0], Event()

    def reply():
        many.phones.receive(phone(0), "1", message_id="m-1")
        done.set()

    writer = Thread(target=reply)
    writer.start()
    assert not done.wait(0.5)
    held.go_on()
    assert done.wait(20)
    writer.join()
    assert turns(many)[patient] == 2
    assert many.app.chart(patient).conversation.version == 2


def test_a_worker_whose_connection_is_cut_in_the_midst_of_its_batch_loses_nothing(
    many, monkeypatch
):
    held = Held(many, monkeypatch, many.patients[4])
    with many.app.engine.connect() as connection:
        connection.exec_driver_sql(f"SELECT pg_terminate_backend({held.process})")
    held.go_on()
    many.app.tick()
    assert turns(many) == dict.fromkeys(many.patients, 1)
    assert not any("undelivered" in many.cases(patient) for patient in many.patients)


def test_one_that_fails_is_undone_alone(many, monkeypatch):
    hurt, whole = many.patients[2], dispatch.take_turn

    def breaks(desk, happened):
        whole(desk, happened)
        if desk.patient == hurt:
            desk.connection.exec_driver_sql("SELECT 1 / 0")  # the server refuses all that follows

    monkeypatch.setattr(dispatch, "take_turn", breaks)
    done = many.app.tick()
    assert (done.prompts, len(done.failed)) == (MANY - 1, 1)
    assert set(turns(many)) == set(many.patients) - {hurt}
    assert "undelivered" in many.cases(hurt)


def test_four_workers_at_once_handle_and_send_each_prompt_once(many):
    def work():
        for _ in range(3):
            many.app.run_due()

    workers = [Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    many.app.run_due()
    assert turns(many) == dict.fromkeys(many.patients, 1)
    keys = Counter(kept.outgoing.key for kept in many.phones.sent)
    assert len(keys) == MANY and set(keys.values()) == {1}
    assert states(many) == {"sent": MANY}


def test_of_a_slow_provider_a_worker_has_one_message_in_hand(many, monkeypatch):
    many.app.tick()
    many.app.worker = begin(many.app.engine, "one host", 1, ("relay",), many.now)
    real, in_hand = many.phones.send, []

    def send(outgoing):
        in_hand.append(states(many)["claimed"])
        many.times[0] += BRIEF
        return real(outgoing)

    monkeypatch.setattr(many.phones, "send", send)
    assert many.app.relay().sent == MANY
    assert in_hand == [5, *[1] * (MANY - 1)]
    assert states(many) == {"sent": MANY}


def test_what_a_dead_worker_had_in_hand_goes_out_again_by_its_keys_and_nothing_else(
    many, monkeypatch
):
    class Killed(BaseException):
        pass

    many.app.tick()
    first = begin(many.app.engine, "one host", 1, ("relay",), many.now)
    second = begin(many.app.engine, "one host", 2, ("relay",), many.now)
    real = many.phones.send

    def send(outgoing):
        sent = real(outgoing)
        if len(many.phones.sent) == 3:
            raise Killed
        return sent

    many.app.worker = first
    with monkeypatch.context() as patch:
        patch.setattr(many.phones, "send", send)
        with pytest.raises(Killed):
            many.app.relay()
    in_doubt = {kept.outgoing.key for kept in many.phones.sent}
    many.app.worker = second
    end(many.app.engine, first)
    many.app.relay()
    many.app.relay()
    calls = Counter(kept.outgoing.key for kept in many.phones.sent)
    assert {key for key, times in calls.items() if times > 1} <= in_doubt
    assert len(calls) == MANY and max(calls.values()) == 2


def test_a_message_that_another_transaction_has_in_hand_is_stored_after_it(many):
    """Who waited for it while holding the others might be waited for in turn."""
    many.app.tick()
    engine, now = many.app.engine, many.now
    with writing(engine) as connection:
        taken = claims.claim(connection, now, 3, 1)
    answers = [(message, f"p{message.id}") for message in taken]
    with engine.begin() as other:
        other.exec_driver_sql(f"UPDATE outbound SET not_after = now() WHERE id = {taken[1].id}")
        with writing(engine) as connection:
            assert claims.accept_all(connection, answers, now) == [answers[1]]
    with writing(engine) as connection:
        assert claims.accept(connection, *answers[1], now)
    assert states(many) == {"sent": 3, "queued": MANY - 3}
