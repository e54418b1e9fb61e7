"""The HTTP adapter through Kannel, to a fake handset and to an SMSC on npm smpp behind it."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from kannel_rig import KannelRig, need_kannel
from peer_process import PeerProcess, free_port, until
from rigs import PHONE, message, now
from test_smpp import SPANISH

from bot.channels.base import DeliveryState, SendFailed, moves_forward
from bot.channels.http_sms import HttpSmsChannel

pytestmark = pytest.mark.peers


@pytest.fixture
def handset_port() -> int:
    return free_port()


@pytest.fixture
def kannel(tmp_path: Path, handset_port: int) -> Iterator[KannelRig]:
    need_kannel()
    smsc = (
        f"group = smsc\nsmsc = fake\nsmsc-id = fake\nport = {handset_port}\n"
        "connect-allow-ip = 127.0.0.1\n"
    )
    rig = KannelRig(tmp_path, smsc)
    yield rig
    rig.close()


def states_of(rig: KannelRig, key: str) -> list[DeliveryState]:
    return [delivery.state for delivery in rig.service.deliveries if delivery.key == key]


def test_a_message_reaches_the_handset_and_its_receipts_move_forward_only(
    kannel: KannelRig, handset_port: int
) -> None:
    log = kannel.handset(handset_port, "hello")
    until("the handset is on", lambda: kannel.service.messages)
    sent = kannel.channel.send(message("Did you wash?", PHONE, ("Done", "Later"), key="out-1"))
    assert sent.provider_id == "out-1", "Kannel gives no id, so ours stands"
    until("the handset has it", lambda: "Did you wash?" in log.read_text(errors="replace"))
    until("both receipts came", lambda: len(states_of(kannel, "out-1")) >= 2)
    state = None
    for reported in states_of(kannel, "out-1"):
        state = reported if moves_forward(state, reported) else state
    assert state is DeliveryState.DELIVERED


def test_replies_come_in_once_each_with_kannels_id(kannel: KannelRig, handset_port: int) -> None:
    said = ("Done", "STOP", "I have a fever")  # the handset draws one of them each time
    kannel.handset(handset_port, *said)
    until("all are in", lambda: len(kannel.service.messages) == 3)
    assert len(kannel.service.calls) == 3
    assert set(kannel.service.texts()) <= set(said)
    assert {call.address for call in kannel.service.calls} == {PHONE}


def test_a_reply_that_could_not_be_stored_is_given_again_by_kannel(
    kannel: KannelRig, handset_port: int
) -> None:
    kannel.service.fail_times = 1
    kannel.handset(handset_port, "I have a rash")
    until("it is stored at last", lambda: kannel.service.messages, 20)
    assert kannel.service.texts() == ["I have a rash"]


def test_a_wrong_password_is_temporary_and_named_for_it(kannel: KannelRig) -> None:
    wrong = HttpSmsChannel(replace(kannel.channel._settings, secret="wrong"), now)
    with pytest.raises(SendFailed) as failed:
        wrong.send(message("Hello", PHONE))
    assert not failed.value.permanent
    assert "403" in (wrong.trouble() or "")
    wrong.close()


def test_a_call_without_the_token_is_refused(kannel: KannelRig) -> None:
    for token in ("", "wrong", "kannel-toke", "kannel-token2"):
        query = {"token": token, "id": "1", "from": PHONE, "text": "STOP"}
        url = kannel.hooks.url + "/channels/sms/message"
        assert httpx.get(url, params=query).status_code == 403
    assert kannel.service.calls == []


def test_a_long_spanish_message_crosses_kannel_and_an_smsc_whole(node: str, tmp_path: Path) -> None:
    need_kannel()
    port = free_port()
    smsc = PeerProcess([node, "smsc.js", str(port), "secret"])
    smsc.wait_ready()
    group = (
        f"group = smsc\nsmsc = smpp\nsmsc-id = smpp\nhost = 127.0.0.1\nport = {port}\n"
        "smsc-username = kannel\nsmsc-password = secret\nsystem-type = test\n"
        "transceiver-mode = true\nreconnect-delay = 1\n"
    )
    rig = KannelRig(tmp_path, group)
    try:
        until("Kannel is bound", lambda: smsc.seen("bind"))
        rig.channel.send(message(SPANISH, PHONE, key="out-2"))
        parts = until("four parts", lambda: len(smsc.seen("submit")) == 4 and smsc.seen("submit"))
        assert "".join(part["text"] for part in parts) == SPANISH
        until("delivered", lambda: DeliveryState.DELIVERED in states_of(rig, "out-2"))
        smsc.tell(mo={"from": PHONE.lstrip("+"), "to": "12025550100", "text": "SÍ, mañana 👍"})
        until("the reply is in", lambda: rig.service.messages)
        assert rig.service.texts() == ["SÍ, mañana 👍"]
    finally:
        rig.close()
        smsc.stop()
