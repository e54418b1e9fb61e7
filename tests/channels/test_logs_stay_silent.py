"""No text, number, token or password reaches a log, whatever its level."""

import logging
from dataclasses import replace

import pytest
from http_peers import HttpRig, settings_for
from rigs import SmppRig, TelegramRig, message, now

from bot.channels.base import SendFailed
from bot.channels.http_sms import HttpSmsChannel
from bot.channels.http_template import Body

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
        by_query = replace(settings_for(rig.gateway.url), method="GET", body=Body.QUERY, headers={})
        with pytest.raises(SendFailed):
            HttpSmsChannel(by_query, now).send(message("canary in an address", rig.address))
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
