"""No text, number, token or password reaches a log, whatever its level."""

import logging

import pytest
from http_peers import HttpRig
from rigs import SmppRig, TelegramRig, message

from bot.channels.base import SendFailed

CANARIES = ("canary", "12025550123", "test-token", "gateway-secret", "webhook-secret")


def seen(caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]) -> str:
    out, err = capfd.readouterr()
    return caplog.text + out + err


def exercise(rig: HttpRig | SmppRig | TelegramRig) -> None:
    """Everything that might be logged: success, refusal, lost answer, failed storing."""
    rig.channel.send(message("canary one", rig.address))
    for fault in (rig.refuse_for_good, rig.throttle, rig.lose_answer):
        fault()
        with pytest.raises(SendFailed):
            rig.channel.send(message("canary two", rig.address))
    rig.service.fail_times = 1
    rig.says("canary three")
    rig.close()


def test_http(caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]) -> None:
    with caplog.at_level(logging.DEBUG):
        rig = HttpRig()
        rig.post("/channels/sms/message", b"canary", {})
        exercise(rig)
    text = seen(caplog, capfd)
    assert "webhook refused" in text, "the test sees the log at all"
    assert not [word for word in CANARIES if word in text]


@pytest.mark.peers
@pytest.mark.parametrize("kind", [SmppRig, TelegramRig])
def test_with_a_peer(
    node: str,
    kind: type[SmppRig] | type[TelegramRig],
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:
    with caplog.at_level(logging.DEBUG):
        exercise(kind(node))
    text = seen(caplog, capfd)
    assert "asyncio" in text, "the test sees the log at all"
    assert not [word for word in CANARIES if word in text]
