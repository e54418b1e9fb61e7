"""The channel contract, the same tests over every implementation."""

from collections.abc import Iterator

import pytest
from http_peers import HttpRig
from peer_process import until
from rigs import RecordingRig, Rig, SmppRig, TelegramRig, message

from bot.channels.base import SendFailed, SendUnknown

PEERS = pytest.mark.peers


@pytest.fixture(
    params=[
        "recording",
        "http",
        pytest.param("telegram", marks=PEERS),
        pytest.param("smpp", marks=PEERS),
    ],
)
def rig(request: pytest.FixtureRequest) -> Iterator[Rig]:
    if request.param == "recording":
        made: Rig = RecordingRig()
    elif request.param == "http":
        made = HttpRig()
    else:
        kinds = {"telegram": TelegramRig, "smpp": SmppRig}
        made = kinds[request.param](request.getfixturevalue("node"))
    yield made
    made.close()


def test_a_sent_message_reaches_the_phone_and_has_an_id_of_its_own(rig: Rig) -> None:
    first = rig.channel.send(message("Good morning", rig.address, key="k1"))
    second = rig.channel.send(message("Good evening", rig.address, key="k2"))
    assert first.provider_id
    assert first.provider_id != second.provider_id
    assert rig.on_phone() == ["Good morning", "Good evening"]


def test_what_the_patient_writes_comes_in_with_its_words_and_address(rig: Rig) -> None:
    rig.says("Sí, todo bien 👍")
    until("the message is in", lambda: rig.service.messages)
    (incoming,) = rig.service.messages.values()
    assert (incoming.text, incoming.address) == ("Sí, todo bien 👍", rig.address)
    assert incoming.channel == rig.channel.name
    assert incoming.received_at.tzinfo is not None


def test_the_same_words_twice_are_two_messages(rig: Rig) -> None:
    rig.says("yes")
    rig.says("yes")
    until("both are in", lambda: len(rig.service.messages) == 2)
    assert rig.service.texts() == ["yes", "yes"]


def test_a_message_that_could_not_be_stored_is_given_again(rig: Rig) -> None:
    rig.service.fail_times = 1
    rig.says("I have a fever")
    until("it is stored at last", lambda: rig.service.messages)
    assert len(rig.service.calls) >= 2
    assert rig.service.texts() == ["I have a fever"]


def test_a_refusal_for_good_is_told_as_permanent(rig: Rig) -> None:
    rig.refuse_for_good()
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", rig.address))
    assert failed.value.permanent
    assert not isinstance(failed.value, SendUnknown)
    assert rig.on_phone() == []


def test_throttling_is_temporary_and_carries_the_wait_asked_for(rig: Rig) -> None:
    wait = rig.throttle()
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", rig.address))
    assert not failed.value.permanent
    assert failed.value.retry_after == wait
    assert not isinstance(failed.value, SendUnknown)
    assert rig.on_phone() == []


def test_a_lost_answer_is_neither_success_nor_failure(rig: Rig) -> None:
    rig.lose_answer()
    with pytest.raises(SendUnknown) as unknown:
        rig.channel.send(message("Hello", rig.address))
    assert not unknown.value.permanent


def test_the_channel_goes_on_after_a_fault(rig: Rig) -> None:
    rig.lose_answer()
    with pytest.raises(SendUnknown):
        rig.channel.send(message("Hello", rig.address, key="k1"))
    assert rig.channel.send(message("Hello again", rig.address, key="k2")).provider_id
    assert rig.on_phone()[-1] == "Hello again"
    assert rig.channel.trouble() is None


def test_a_reason_never_quotes_the_message(rig: Rig) -> None:
    for fault in (rig.refuse_for_good, rig.throttle, rig.lose_answer):
        fault()
        with pytest.raises(SendFailed) as failed:
            rig.channel.send(message("canary words", rig.address))
        assert "canary" not in failed.value.reason


def test_closing_twice_is_harmless(rig: Rig) -> None:
    rig.channel.close()
    rig.channel.close()
