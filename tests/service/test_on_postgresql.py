"""The same services on PostgreSQL: the second engine is the first one's equal."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from threading import Thread
from time import monotonic, sleep

import pytest

from bot.content.snapshot import snapshot
from bot.core.escalation import Step
from bot.service import drafting
from bot.store import claims, outbox, patients, picking, waking
from bot.store.lease import POLLING, Lease
from bot.store.schema import differences, upgrade

pytestmark = [pytest.mark.peers, pytest.mark.slow]


def test_the_migrations_make_exactly_the_tables_in_code(elsewhere):
    assert differences(elsewhere.app.engine) == []


def test_a_log_refuses_to_be_changed(elsewhere):
    elsewhere.enrol()
    engine = elsewhere.app.engine
    with pytest.raises(Exception, match="append-only"), engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM audit")


def test_an_alarm_is_followed_to_its_end(elsewhere):
    patient = elsewhere.enrol()
    elsewhere.run()
    (answer,) = elsewhere.says("I have a fever of 101.2")
    assert "+1-202-555-0110" in answer
    elsewhere.wait(hours=1)
    steps = [entry.step for entry in elsewhere.cases(patient)["alarm"].entries]
    assert steps[:3] == [Step.OPENED, Step.NURSE_NOTIFIED, Step.PATIENT_TOLD]
    assert steps.count(Step.NURSE_NOTIFIED) > 1


def test_a_message_that_two_workers_get_at_once_takes_effect_once(elsewhere):
    patient = elsewhere.enrol()
    failures = []

    def give():
        try:
            elsewhere.phones.receive(elsewhere.patient_phone, "I have a cough", message_id="m-1")
        except Exception as error:
            failures.append(error)

    workers = [Thread(target=give) for _ in range(8)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert failures == []
    assert len([line for line in elsewhere.app.threads(patient) if line.who == "patient"]) == 1


def test_four_schedulers_at_once_send_each_prompt_once(elsewhere):
    patient = elsewhere.enrol()
    elsewhere.times[0] = elsewhere.app.planned(patient)[2].due
    workers = [Thread(target=elsewhere.app.run_due) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    elsewhere.app.relay()
    keys = [kept.outgoing.key for kept in elsewhere.phones.sent]
    assert len(keys) == len(set(keys)) > 0


def test_of_educators_who_begin_at_once_one_opens_the_draft(elsewhere):
    engine, now = elsewhere.app.engine, elsewhere.app.clock()
    live = snapshot(elsewhere.app.flows)
    refused: list[str] = []

    def begin(who: str) -> None:
        try:
            drafting.start(engine, live, who, now)
        except drafting.DraftFault:
            refused.append(who)

    together = [Thread(target=begin, args=(f"Educator {number}",)) for number in range(4)]
    for thread in together:
        thread.start()
    for thread in together:
        thread.join()
    draft = drafting.current(engine)
    assert draft is not None and len(refused) == 3
    name, text = "talks/pets.yaml", live.files["talks/pets.yaml"]
    drafting.save(engine, name, text + "# á\n", drafting.mark_of(text), "Educator 1", now)
    with pytest.raises(drafting.DraftFault, match="meanwhile"):
        drafting.save(engine, name, "late", drafting.mark_of(text), "Educator 2", now)
    drafting.put_away(engine, "Educator 1", now)
    drafting.start(engine, live, "Educator 2", now)
    assert [edit.what for edit in drafting.log(engine)][:2] == [drafting.STARTED, drafting.DROPPED]


def test_two_schedulers_pick_different_patients_and_wait_for_nobody(elsewhere):
    first = elsewhere.enrol()
    second = elsewhere.enrol(reference="P-2", address="+12025550160")
    engine, now = elsewhere.app.engine, elsewhere.now
    with engine.begin() as one, engine.begin() as other:
        (mine,) = picking.next_prompts(one, now, picking.BEGINNING, 1)
        (theirs,) = picking.next_prompts(other, now, picking.BEGINNING, 50)
        assert {mine.patient, theirs.patient} == {first, second}
        assert not patients.lock_if_free(one, theirs.patient)
        with engine.begin() as third:
            assert picking.next_prompts(third, now, picking.BEGINNING, 50) == []


def test_two_relays_never_have_messages_of_one_phone_in_hand_together(elsewhere):
    elsewhere.enrol()
    elsewhere.app.tick()
    engine, now = elsewhere.app.engine, elsewhere.now
    for key in ("a", "b"):
        with engine.begin() as connection:
            outbox.queue(connection, replace(_waiting(connection), key=key))
    with engine.begin() as one:
        (first,) = claims.claim(one, now, 1, 1)
        with engine.begin() as other:
            assert claims.claim(other, now, 50, 2) == []
    with engine.begin() as other:
        assert claims.claim(other, now, 50, 2) == []
        assert claims.accept(other, first, "p1", now)
        (second,) = claims.claim(other, now, 50, 2)
    assert first.id < second.id


def _waiting(connection):
    return next(m for m in outbox.messages_of(connection) if m.state in ("queued", "claimed"))


def test_a_relay_is_called_when_a_message_is_committed_and_not_before(elsewhere):
    elsewhere.enrol()
    engine = elsewhere.app.engine
    calls = waking.calls(engine, 0.3)
    assert next(calls) == ""
    due = datetime.now(UTC)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO outbound (key, to_role, name, channel, address, text, choices, queued_at,"
            " state, reason, attempts, next_try_at, changed_at, delivery) VALUES ('x', 'nurse', '',"
            f" 'sms', 'y', '', '[]', now(), 'queued', '', 0, '{due}', now(), '')"
        )
        assert next(calls) == ""
    assert next(calls) == "relay"
    with engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE conversation SET wake_at = '{due}'")
    assert next(calls) == "scheduler"
    with engine.begin() as connection:
        later = due + timedelta(hours=1)
        connection.exec_driver_sql(f"UPDATE conversation SET wake_at = '{later}'")
    assert next(calls) == ""  # of what is due later nobody is called
    calls.close()


def _soon(true: Callable[[], bool]) -> bool:
    """Whether it becomes true within ten seconds."""
    until = monotonic() + 10
    while not true():
        if monotonic() > until:
            return False
        sleep(0.05)
    return True


def test_one_polls_and_the_next_takes_over_when_it_is_gone(elsewhere):
    engine = elsewhere.app.engine
    first, second = Lease(engine, POLLING), Lease(engine, POLLING)
    assert first.held()
    assert not second.held()
    assert first.held()
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory'"
        )
    assert _soon(lambda: not first.held())  # the server ends a connection in its own time
    assert _soon(second.held)
    assert not first.held()
    second.give_back()
    assert first.held()
    first.give_back()


def test_processes_that_start_at_once_migrate_once(elsewhere):
    engine = elsewhere.app.engine
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    failures = []

    def start():
        try:
            upgrade(engine)
        except Exception as error:
            failures.append(error)

    together = [Thread(target=start) for _ in range(4)]
    for thread in together:
        thread.start()
    for thread in together:
        thread.join()
    assert failures == []
    assert differences(engine) == []
