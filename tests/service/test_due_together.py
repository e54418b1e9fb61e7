"""Prompts that are due together share a commit: one that fails, or a death, takes nothing along."""

from collections import Counter
from contextlib import contextmanager
from datetime import timedelta

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import OperationalError

from bot.service import dispatch, rounds
from bot.store.engine import reading, writing

HURT = "this one cannot be handled"


class PowerCutError(BaseException):
    """Not an Exception: nothing may catch it and go on."""


def phone(n):
    return f"+120255501{50 + n}"


@pytest.fixture
def five(clinic):
    """Five patients whose first prompts are due at this moment."""
    clinic.patients = [clinic.enrol(reference=f"P-{n}", address=phone(n)) for n in range(5)]
    return clinic


def rows(clinic, query, **values):
    with reading(clinic.app.engine) as connection:
        return connection.execute(text(query), values).all()


def texts_of_turns(clinic):
    """How many messages each patient has in the outbox, by patient."""
    found = rows(clinic, "SELECT patient_id FROM outbound WHERE key LIKE 'turn.%'")
    return Counter(row.patient_id for row in found)


def versions(clinic):
    return dict(map(tuple, rows(clinic, "SELECT patient_id, version FROM conversation")))


@contextmanager
def changing_commits(engine):
    """The commits that changed something."""
    found, seen = [], [None]

    def count(connection):
        changes = connection.connection.driver_connection.total_changes
        if seen[0] is not None and changes != seen[0]:
            found.append(changes - seen[0])

    def begin(connection):
        seen[0] = connection.connection.driver_connection.total_changes

    event.listen(engine, "begin", begin)
    event.listen(engine, "commit", count)
    yield found
    event.remove(engine, "begin", begin)
    event.remove(engine, "commit", count)


def break_turn_of(monkeypatch, patient, error):
    """The turn of this patient fails when everything of it is written already."""
    whole = dispatch.take_turn

    def breaks(desk, happened):
        whole(desk, happened)
        if desk.patient == patient:
            raise error

    monkeypatch.setattr(dispatch, "take_turn", breaks)


def test_they_are_one_commit(five):
    with changing_commits(five.app.engine) as commits:
        done = five.app.tick()
    assert done.prompts == 5
    assert len(commits) == 1
    assert texts_of_turns(five) == dict.fromkeys(five.patients, 1)


def test_one_that_fails_is_undone_alone_put_off_and_told(five, monkeypatch):
    hurt = five.patients[2]
    break_turn_of(monkeypatch, hurt, RuntimeError(HURT))
    before = versions(five)
    done = five.app.tick()
    monkeypatch.undo()
    assert (done.prompts, [HURT in entry for entry in done.failed]) == (4, [True])
    others = [patient for patient in five.patients if patient != hurt]
    assert texts_of_turns(five) == dict.fromkeys(others, 1)
    assert versions(five)[hurt] == before[hurt]
    assert five.cases(hurt)["undelivered"].opened.detail["fault"] == "RuntimeError"
    assert not any("undelivered" in five.cases(patient) for patient in others)
    five.times[0] += rounds.PUT_OFF
    assert five.app.tick().failed == []
    assert texts_of_turns(five)[hurt] >= 1


def test_when_the_commit_itself_fails_each_has_one_of_its_own(five):
    failing = [True, True]  # the shared commit, and the second try of it

    def fail(connection):
        if connection.get_execution_options().get("sqlite_begin") != "DEFERRED" and failing:
            failing.pop()
            raise OperationalError("COMMIT", {}, Exception("disk I/O error"))

    event.listen(five.app.engine, "commit", fail)
    with changing_commits(five.app.engine) as commits:
        done = five.app.tick()
    assert (done.prompts, done.failed) == (5, [])
    assert len(commits) == 5
    assert texts_of_turns(five) == dict.fromkeys(five.patients, 1)


def test_who_breaks_even_the_transaction_is_put_off_and_the_others_are_stored(five, monkeypatch):
    hurt, whole = five.patients[1], dispatch.take_turn

    def breaks(desk, happened):
        whole(desk, happened)
        if desk.patient == hurt:  # as SQLite does of itself when the disk is full
            desk.connection.connection.driver_connection.execute("ROLLBACK")
            raise RuntimeError(HURT)

    monkeypatch.setattr(dispatch, "take_turn", breaks)
    done = five.app.tick()
    assert (done.prompts, len(done.failed)) == (4, 1)
    assert set(texts_of_turns(five)) == set(five.patients) - {hurt}
    assert "undelivered" in five.cases(hurt)


@pytest.mark.parametrize("place", range(5))
def test_death_in_the_midst_of_them_loses_and_doubles_nothing(five, monkeypatch, place):
    break_turn_of(monkeypatch, five.patients[place], PowerCutError())
    with pytest.raises(PowerCutError):
        five.app.tick()
    monkeypatch.undo()
    assert texts_of_turns(five) == {}
    five.app.run_due()
    keys = Counter(kept.outgoing.key for kept in five.phones.sent)
    assert texts_of_turns(five) == dict.fromkeys(five.patients, 1)
    assert len(keys) == 5 and set(keys.values()) == {1}


def test_many_more_than_one_batch_are_all_handled_and_each_once(five, monkeypatch):
    monkeypatch.setattr(rounds, "TOGETHER", 2)
    with changing_commits(five.app.engine) as commits:
        assert five.app.tick().prompts == 5
    assert len(commits) == 3
    assert texts_of_turns(five) == dict.fromkeys(five.patients, 1)
    assert five.app.tick().prompts == 0


def test_a_round_stops_at_its_measure_in_the_midst_of_what_is_due(five):
    assert dispatch.tick(five.app.practice, five.now, 3).prompts == 3
    assert dispatch.tick(five.app.practice, five.now, 3).prompts == 2


def test_each_patients_prompts_keep_their_order_within_a_commit(five, monkeypatch):
    """After an outage several of each are due: the oldest goes first."""
    five.app.run_due()
    with writing(five.app.engine) as connection:
        connection.execute(
            text(
                "UPDATE planned_prompt SET late = 'send', closes = :far, due = :now WHERE id IN"
                " (SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY patient_id ORDER BY"
                " due, id) AS place FROM planned_prompt WHERE state = 'planned') WHERE place <= 3)"
            ),
            {"far": _stored(five.now + timedelta(days=9)), "now": _stored(five.now)},
        )
    expected = {patient: _due(five, patient) for patient in five.patients}
    whole, handled = dispatch.take_turn, {patient: [] for patient in five.patients}

    def note(desk, happened):
        handled[desk.patient].append(desk.prompt)
        whole(desk, happened)

    monkeypatch.setattr(dispatch, "take_turn", note)
    with changing_commits(five.app.engine) as commits:
        assert five.app.tick().prompts == 15
    assert len(commits) == 3  # one prompt of each patient to a commit
    assert handled == expected
    assert {len(prompts) for prompts in expected.values()} == {3}


def _stored(moment):
    return moment.strftime("%Y-%m-%d %H:%M:%S.%f")


def _due(clinic, patient):
    return [prompt.key for prompt in clinic.app.planned(patient) if prompt.due <= clinic.now]


def test_timers_that_ring_together_are_one_commit_too(five):
    five.app.run_due()
    rung = rows(five, "SELECT count(*) AS n FROM conversation WHERE wake_at IS NOT NULL")
    with writing(five.app.engine) as connection:
        connection.execute(
            text("UPDATE conversation SET wake_at = :now"), {"now": _stored(five.now)}
        )
    with changing_commits(five.app.engine) as commits:
        assert five.app.tick().timers == 5
    assert len(commits) == 1
    assert rung[0].n == 5
