"""Delivery receipts, in any order."""

from datetime import timedelta
from itertools import permutations

import pytest

from bot.channels.base import Delivery, DeliveryState, SendUnknown
from bot.channels.recording import RecordingChannel
from bot.store import outbox
from bot.store.engine import reading

SENT, DELIVERED, UNDELIVERED = (
    DeliveryState.SENT, DeliveryState.DELIVERED, DeliveryState.UNDELIVERED,
)  # fmt: skip


def _stored(clinic, provider_id):
    """(delivery, state) of one message."""
    with reading(clinic.app.engine) as connection:
        query = "SELECT delivery, state FROM outbound WHERE provider_id = ?"
        return tuple(connection.exec_driver_sql(query, (provider_id,)).one())


def _early(clinic):
    with reading(clinic.app.engine) as connection:
        return connection.exec_driver_sql("SELECT count(*) FROM early_receipt").scalar()


def _first_message(clinic):
    patient = clinic.enrol()
    clinic.run()
    return patient, clinic.phones.sent[-1]


@pytest.mark.parametrize("order", list(permutations((SENT, DELIVERED, UNDELIVERED))))
def test_the_order_of_receipts_does_not_matter(clinic, order):
    _, sent = _first_message(clinic)
    for state in order:
        clinic.phones.report(sent.provider_id, state)
    assert _stored(clinic, sent.provider_id) == ("delivered", "sent")


def test_a_late_sent_does_not_hide_that_a_message_was_lost(clinic):
    patient, sent = _first_message(clinic)
    clinic.phones.report(sent.provider_id, UNDELIVERED, "phone off")
    clinic.phones.report(sent.provider_id, SENT)
    assert _stored(clinic, sent.provider_id) == ("undelivered", "failed")
    assert "undelivered" in clinic.cases(patient)


class Hasty(RecordingChannel):
    """Reports on a message before it has answered that it took it."""

    def __init__(self, clock, *states):
        super().__init__(clock, "sms")
        self.states = states

    def send(self, outgoing):
        sent = super().send(outgoing)
        for state in self.states:
            self.report(sent.provider_id, state, "phone off")
        return sent


def _hasty(clinic, *states):
    clinic.phones = Hasty(clinic.app.clock, *states)
    clinic.app.connect(clinic.phones)
    return _first_message(clinic)


def test_a_receipt_that_comes_before_its_message_is_known_is_kept_and_applied(clinic):
    _, sent = _hasty(clinic, SENT, DELIVERED)
    assert _stored(clinic, sent.provider_id) == ("delivered", "sent")
    assert _early(clinic) == 0


def test_a_message_reported_lost_before_it_is_known_reaches_a_person(clinic):
    patient, sent = _hasty(clinic, UNDELIVERED, SENT)
    assert _stored(clinic, sent.provider_id) == ("undelivered", "failed")
    assert "undelivered" in clinic.cases(patient)


def test_a_receipt_by_our_key_settles_a_message_whose_answer_was_lost(clinic):
    clinic.enrol()
    clinic.phones.fail_next(SendUnknown("no answer"))
    clinic.run()
    (out,) = [kept.outgoing for kept in clinic.phones.sent]
    clinic.app.delivered(Delivery("sms", DELIVERED, clinic.now, key=out.key))
    clinic.wait(minutes=1)
    assert [kept.outgoing.key for kept in clinic.phones.sent].count(out.key) == 1


def test_a_receipt_of_another_user_of_the_gateway_is_forgotten_in_time(clinic):
    clinic.app.delivered(Delivery("sms", SENT, clinic.now, provider_id="another's"))
    assert _early(clinic) == 1
    clinic.times[0] += timedelta(days=8)
    _hasty(clinic, SENT)
    assert _early(clinic) == 0


def test_a_receipt_by_key_that_comes_first_is_not_overwritten_by_the_answer(clinic):
    class ByKey(RecordingChannel):
        def send(self, outgoing):
            clinic.app.delivered(Delivery("sms", UNDELIVERED, clinic.now, key=outgoing.key))
            return super().send(outgoing)

    clinic.phones = ByKey(clinic.app.clock, "sms")
    clinic.app.connect(clinic.phones)
    _, sent = _first_message(clinic)
    assert _stored(clinic, sent.provider_id) == ("undelivered", "failed")
    with reading(clinic.app.engine) as connection:
        assert outbox.by_key(connection, sent.outgoing.key).state == "failed"
