from datetime import timedelta

import pytest

from bot.channels.base import Delivery, DeliveryState, SendFailed, SendUnknown
from bot.service.outcomes import LONGEST_WAIT, backoff


def test_a_message_is_sent_once_however_often_the_relay_runs(clinic):
    clinic.enrol()
    clinic.run()
    clinic.run()
    assert len(clinic.texts()) == 1


def test_a_refusal_that_may_pass_is_tried_again_later(clinic):
    clinic.enrol()
    clinic.phones.fail_next(SendFailed("busy", permanent=False))
    clinic.run()
    assert clinic.texts() == []
    clinic.wait(minutes=1)
    assert len(clinic.texts()) == 1


def test_the_wait_that_the_provider_asks_for_is_kept(clinic):
    clinic.enrol()
    clinic.phones.fail_next(SendFailed("slow down", permanent=False, retry_after=300))
    clinic.run()
    clinic.wait(seconds=299)
    assert clinic.texts() == []
    clinic.wait(seconds=2)
    assert clinic.texts() != []


def test_a_later_message_never_overtakes_an_earlier_one(clinic):
    clinic.enrol()
    clinic.phones.fail_next(SendFailed("busy", permanent=False, retry_after=600))
    clinic.run()
    clinic.wait(minutes=3)  # the second prompt of enrolment is due and waits behind the first
    clinic.says("what is this")
    clinic.wait(minutes=20)
    keys = [kept.outgoing.key for kept in clinic.phones.sent]
    versions = [int(key.split(".")[2]) for key in keys if key.startswith("turn.")]
    assert versions == sorted(versions)
    assert len(versions) > 1


def test_a_number_that_cannot_be_reached_becomes_the_nurses_matter(clinic):
    patient = clinic.enrol()
    clinic.phones.fail_next(SendFailed("unknown number", permanent=True))
    clinic.run()
    case = clinic.cases(patient)["undelivered"]
    assert case.opened.detail["why"] == "unknown number"


def test_giving_up_after_many_attempts_tells_the_nurse(clinic):
    patient = clinic.enrol()
    clinic.phones.fail_next(*[SendFailed("busy", permanent=False)] * 40)
    clinic.wait(hours=2)
    assert "undelivered" in clinic.cases(patient)


def test_an_unknown_outcome_is_sent_again_once_and_then_told_to_the_nurse(clinic):
    patient = clinic.enrol()
    clinic.phones.fail_next(SendUnknown("no answer"), SendUnknown("no answer"))
    clinic.wait(minutes=1)
    first = clinic.phones.sent[0].outgoing
    assert [kept.outgoing.key for kept in clinic.phones.sent].count(first.key) == 2
    assert "undelivered" in clinic.cases(patient)


def test_a_sender_that_died_leaves_nothing_behind(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()

    class PowerCut(BaseException):
        pass

    def cut(_):
        raise PowerCut

    monkeypatch.setattr(clinic.phones, "send", cut)
    with pytest.raises(PowerCut):
        clinic.app.relay()
    monkeypatch.undo()
    clinic.wait(minutes=7)
    clinic.wait(minutes=1)
    assert len(clinic.texts()) >= 1


def test_an_adapters_own_error_does_not_stop_the_others(clinic, monkeypatch):
    clinic.enrol()
    clinic.app.tick()
    real, calls = clinic.phones.send, []

    def broken_once(outgoing):
        calls.append(outgoing)
        if len(calls) == 1:
            raise KeyError("adapter fault")
        return real(outgoing)

    monkeypatch.setattr(clinic.phones, "send", broken_once)
    clinic.app.relay()
    clinic.wait(minutes=1)
    assert len(clinic.texts()) >= 1


def test_a_stale_message_is_never_sent(clinic):
    patient = clinic.enrol()
    clinic.says("hello there")
    clinic.phones.fail_next(SendFailed("outage", permanent=False, retry_after=30 * 3600))
    clinic.app.tick()
    clinic.says("what happens next week?")
    clinic.times[0] += timedelta(hours=31)
    before = len(clinic.texts())
    clinic.app.relay()
    clinic.app.relay()
    withdrawn = [line for line in clinic.app.threads(patient) if line.state == "withdrawn"]
    assert withdrawn
    assert all("stale" in line.detail["reason"] for line in withdrawn)
    assert not {line.text for line in withdrawn} & set(clinic.texts()[before:])


def test_an_undelivered_receipt_counts_as_silence_not_as_sent(clinic):
    patient = clinic.enrol()
    clinic.run()
    sent = clinic.phones.sent[0]
    clinic.phones.report(sent.provider_id, DeliveryState.UNDELIVERED, "phone off")
    assert clinic.cases(patient)["undelivered"].opened.detail["why"] == "phone off"


def test_a_receipt_for_nobody_changes_nothing(clinic):
    clinic.enrol()
    clinic.app.delivered(Delivery("sms", DeliveryState.SENT, clinic.now, provider_id="x"))
    assert clinic.app.worklist() == []


def test_waits_double_up_to_a_limit_and_spread_but_repeat_exactly():
    waits = [backoff("turn.1.2.patient", n) for n in range(1, 12)]
    assert waits == [backoff("turn.1.2.patient", n) for n in range(1, 12)]
    assert max(waits) <= LONGEST_WAIT
    assert waits[0] < timedelta(seconds=20)
    assert len({backoff(f"key{n}", 1) for n in range(50)}) > 40


def test_a_blocked_phone_is_the_nurses_matter(clinic):
    patient = clinic.enrol()
    blocked = Delivery(
        "sms",
        DeliveryState.UNDELIVERED,
        clinic.now,
        address=clinic.patient_phone,
        reason="blocked by the owner",
    )
    clinic.app.delivered(blocked)
    assert clinic.cases(patient)["undelivered"].opened.detail["why"] == "blocked by the owner"


def test_what_a_dead_sender_had_in_hand_does_not_go_out_after_a_stop(clinic, monkeypatch):
    patient = clinic.enrol()
    clinic.app.tick()

    class PowerCut(BaseException):
        pass

    def cut(_):
        raise PowerCut

    with monkeypatch.context() as patch:
        patch.setattr(clinic.phones, "send", cut)
        with pytest.raises(PowerCut):
            clinic.app.relay()
    clinic.says("STOP")
    clinic.wait(hours=1)
    assert ["no more messages" in text for text in clinic.texts()] == [True]  # its confirmation
    assert clinic.app.chart(patient).conversation.stopped
