"""The shipped fake plays faults in the order told."""

from datetime import UTC, datetime

import pytest

from bot.channels.base import Delivery, DeliveryState, Incoming, Outgoing, SendFailed, SendUnknown
from bot.channels.recording import RecordingChannel

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)


def test_a_lost_answer_keeps_the_message_and_a_refusal_does_not() -> None:
    channel = RecordingChannel(lambda: NOW)
    channel.fail_next(SendFailed("no", permanent=False), SendUnknown("lost"))
    for fault in (SendFailed, SendUnknown):
        with pytest.raises(fault):
            channel.send(Outgoing("k", "a", "hi"))
    assert channel.texts_to("a") == ["hi"]
    assert channel.send(Outgoing("k2", "a", "ho")).provider_id == "recording-2"


def test_receipts_and_repeats_are_handed_in_as_told() -> None:
    channel = RecordingChannel(lambda: NOW, "sms")
    came: list[Incoming] = []
    told: list[Delivery] = []
    channel.start(came.append, told.append)
    first = channel.receive("a", "yes")
    channel.receive("a", "yes", message_id=first.message_id)
    assert [message.message_id for message in came] == ["sms-in-1", "sms-in-1"]
    channel.report("sms-1", DeliveryState.DELIVERED)
    assert (told[0].provider_id, told[0].at) == ("sms-1", NOW)


def test_a_channel_that_was_not_started_says_so() -> None:
    channel = RecordingChannel(lambda: NOW)
    assert channel.trouble() == "not started"
    with pytest.raises(RuntimeError, match="call start"):
        channel.receive("a", "yes")
    with pytest.raises(RuntimeError, match="call start"):
        channel.report("x", DeliveryState.SENT)
