"""What a provider accepts in one moment is stored in one commit, and what is in doubt stays small."""

from collections import Counter
from datetime import timedelta

import pytest
from sqlalchemy import event, text

from bot.channels.base import SendFailed, Sent
from bot.service import outbox as relaying
from bot.service import outcomes, workers
from bot.service.outcomes import BRIEF, Answers, Relay
from bot.store.engine import reading, writing


class KilledError(BaseException):
    """Not an Exception: nothing may catch it and go on."""


def phone(n):
    return f"+120255501{50 + n}"


@pytest.fixture
def six(clinic):
    """Six patients, each with one message that waits to be sent."""
    for n in range(6):
        clinic.enrol(reference=f"P-{n}", address=phone(n))
    clinic.app.tick()
    return clinic


@pytest.fixture
def commits(six):
    """The commits that write."""
    found = []

    def count(connection):
        if connection.get_execution_options().get("sqlite_begin") != "DEFERRED":
            found.append(connection)

    event.listen(six.app.engine, "commit", count)
    return found


def states(clinic):
    with reading(clinic.app.engine) as connection:
        found = connection.execute(
            text("SELECT address, state, attempts FROM outbound ORDER BY id")
        )
        return {row.address: (row.state, row.attempts) for row in found}


def calls(clinic):
    return Counter(kept.outgoing.key for kept in clinic.phones.sent)


def wrap_send(clinic, monkeypatch, before=None, after=None):
    """Let something happen before or after the provider takes the nth message, from 1 on."""
    real, number = clinic.phones.send, [0]

    def send(outgoing):
        number[0] += 1
        if before:
            before(number[0])
        sent = real(outgoing)
        return (after(number[0], sent) if after else None) or sent

    monkeypatch.setattr(clinic.phones, "send", send)


def others_send_too(clinic, size):
    """One round of a sender among several."""
    app, done = clinic.app, Relay()
    answers = Answers(app.practice, clinic.now, app.clock)
    sender = relaying._Sender(
        app.practice, app.channels, clinic.now, None, done, answers, alone=False, size=size
    )
    sender.send_all()
    return done, sender


def test_one_commit_claims_them_and_one_stores_that_they_were_accepted(six, commits):
    six.app.relay()
    assert set(states(six).values()) == {("sent", 1)}
    assert len(commits) == 3  # the third finds nothing more to claim


@pytest.mark.parametrize("place", range(1, 7))
def test_who_dies_between_two_messages_sends_no_other_than_those_in_doubt_again(
    six, monkeypatch, place
):
    def die(number, _sent=None):
        if number == place:
            raise KilledError

    with monkeypatch.context() as patch:
        wrap_send(six, patch, after=die)
        with pytest.raises(KilledError):
            six.app.relay()
    assert {state for state, _ in states(six).values()} == {"claimed"}
    in_doubt = set(calls(six))
    assert len(in_doubt) == place
    six.times[0] += relaying.LEFT_BEHIND + timedelta(seconds=1)
    six.app.relay()
    six.wait(minutes=1)
    assert {state for state, _ in states(six).values()} == {"sent"}
    assert {key for key, times in calls(six).items() if times > 1} == in_doubt
    assert max(calls(six).values()) <= 2
    assert set(states(six)) == {phone(n) for n in range(6)}


def test_a_slow_provider_has_each_answer_stored_by_itself(six, commits, monkeypatch):
    def pass_time(_number):
        six.times[0] += BRIEF

    seen = []

    def look(number):
        seen.append([state for state, _ in states(six).values()].count("sent"))
        pass_time(number)

    wrap_send(six, monkeypatch, before=look)
    six.app.relay()
    assert seen == [0, 1, 2, 3, 4, 5]
    assert set(states(six).values()) == {("sent", 1)}


def test_what_was_accepted_is_stored_before_a_refusal_is(six, monkeypatch):
    def refuse(number):
        if number == 4:
            raise SendFailed("busy", permanent=False)

    wrap_send(six, monkeypatch, before=refuse)
    monkeypatch.setattr(relaying, "refused", lambda *rest: _raise(KilledError()))
    with pytest.raises(KilledError):
        six.app.relay()
    found = [state for state, _ in states(six).values()]
    assert found == ["sent"] * 3 + ["claimed"] * 3


def _raise(error):
    raise error


def test_one_answer_that_cannot_be_stored_does_not_make_the_others_go_out_again(six, monkeypatch):
    wrap_send(six, monkeypatch, after=lambda n, _: Sent(object()) if n == 3 else None)
    with pytest.raises(Exception, match="not supported"):
        six.app.relay()
    found = [state for state, _ in states(six).values()]
    assert found == ["sent", "sent", "claimed", "sent", "sent", "sent"]


def test_where_others_send_too_what_a_slow_provider_leaves_is_given_back(six, monkeypatch):
    def pass_time(_number):
        six.times[0] += BRIEF

    in_hand = []

    def look(number):
        in_hand.append([state for state, _ in states(six).values()].count("claimed"))
        pass_time(number)

    wrap_send(six, monkeypatch, before=look)
    done, sender = others_send_too(six, 5)
    assert in_hand == [5, 1, 1, 1, 1, 1]  # after the first it has one in hand at a time
    assert (done.sent, sender.size) == (6, 1)
    assert set(states(six).values()) == {("sent", 1)}  # giving back is no attempt
    assert max(calls(six).values()) == 1


def test_where_others_send_too_a_fast_provider_gets_more_at_a_time(six, commits):
    done, sender = others_send_too(six, 1)
    assert (done.sent, sender.size) == (6, 8)
    assert len(commits) == 3 + 3 + 1  # claims of 1, 2 and 3, what became of each, and none left


def test_a_message_that_was_tried_before_is_in_hand_alone(six, monkeypatch):
    """It may be what its sender died of, and no other shall be counted out with it."""
    with writing(six.app.engine) as connection:
        connection.execute(
            text("UPDATE outbound SET attempts = 1 WHERE address = :at"), {"at": phone(2)}
        )
    sizes = []
    real = outcomes.accepted
    monkeypatch.setattr(
        outcomes, "accepted", lambda p, a, now: (sizes.append(len(a)), real(p, a, now))
    )
    six.app.relay()
    assert sizes == [2, 1, 3]
    assert states(six)[phone(2)] == ("sent", 2)


def test_what_a_worker_could_not_give_back_it_takes_up_itself(six, monkeypatch):
    worker = workers.begin(six.app.engine, "one host", 1, ("relay",), six.now)
    six.app.worker = worker
    with writing(six.app.engine) as connection:
        relaying.claims.claim(connection, six.now, 3, worker)
    assert [state for state, _ in states(six).values()].count("claimed") == 3
    six.app.relay()
    assert {state for state, _ in states(six).values()} == {"sent"}
    assert max(calls(six).values()) == 1
