"""The SMPP adapter against an SMSC on npm smpp: parts, receipts, lost links, refused binds."""

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from peer_process import PeerProcess, until
from rigs import CLINIC, PHONE, SmppRig, message

from bot.channels.base import DeliveryState, Incoming, SendFailed, SendUnknown
from bot.channels.smpp import SmppChannel
from bot.core.segments import Accents, split

pytestmark = pytest.mark.peers
SPANISH = (
    "Mañana es su cirugía. ¿Tomó su baño con el jabón antiséptico? Después use una toalla limpia, "
    "ropa limpia y sábanas limpias. No se afeite la pierna. Llame al +1-202-555-0101 si tiene "
    "fiebre, tos o sarpullido, aunque sea poco. Está en buenas manos."
)


@pytest.fixture
def rig(node: str) -> Iterator[SmppRig]:
    made = SmppRig(node)
    yield made
    made.close()


def submits(rig: SmppRig) -> list[dict[str, Any]]:
    rig.peer.tell()  # its answer comes after all that it told before
    return rig.peer.seen("submit")


def test_a_plain_message_goes_out_as_gsm_with_the_clinics_number(rig: SmppRig) -> None:
    sent = rig.channel.send(message("Did you wash? [€5]", PHONE, ("Done", "Later")))
    (submit,) = submits(rig)
    assert submit["text"] == "Did you wash? [€5]\n1 Done\n2 Later"
    assert (submit["to"], submit["from"]) == (PHONE.lstrip("+"), CLINIC.lstrip("+"))
    assert (submit["coding"], submit["esm_class"], sent.segments) == (0, 0, 1)
    assert submit["id"] == sent.provider_id


def test_a_long_spanish_message_arrives_whole_in_ucs2_parts(rig: SmppRig) -> None:
    sent = rig.channel.send(message(SPANISH, PHONE))
    parts = submits(rig)
    assert "".join(part["text"] for part in parts) == SPANISH
    assert len(parts) == sent.segments == len(split(SPANISH)) == 4
    assert {part["coding"] for part in parts} == {8}
    headers = [bytes.fromhex(part["udh"]) for part in parts]
    assert [(head[-2], head[-1]) for head in headers] == [(4, 1), (4, 2), (4, 3), (4, 4)]
    assert len({head[-3] for head in headers}) == 1


def test_with_accents_folded_the_same_message_takes_two_gsm_parts(rig: SmppRig) -> None:
    channel = SmppChannel(rig.settings, rig.channel._clock, Accents.FOLD)
    channel.start(rig.service.on_incoming, rig.service.on_delivery)
    until("bound", lambda: channel.trouble() is None)
    try:
        assert channel.send(message(SPANISH, PHONE)).segments == 2
    finally:
        channel.close()
    assert {part["coding"] for part in submits(rig)} == {0}


def test_a_pair_of_septets_is_never_cut(rig: SmppRig) -> None:
    text = "a" * 152 + "€" + "b" * 10
    rig.channel.send(message(text, PHONE))
    assert [part["text"] for part in submits(rig)] == ["a" * 152, "€" + "b" * 10]


def test_a_receipt_tells_that_the_message_was_delivered(rig: SmppRig) -> None:
    sent = rig.channel.send(message("Hello", PHONE))
    until("the receipt is in", lambda: rig.service.deliveries)
    (delivery,) = rig.service.deliveries
    assert (delivery.provider_id, delivery.state) == (sent.provider_id, DeliveryState.DELIVERED)


def test_a_message_of_parts_is_delivered_once_all_parts_are(rig: SmppRig) -> None:
    sent = rig.channel.send(message(SPANISH, PHONE))
    until("all is answered", lambda: len(rig.peer.seen("answered")) == 4)
    final = [d for d in rig.service.deliveries if d.provider_id == sent.provider_id]
    assert [delivery.state for delivery in final] == [DeliveryState.DELIVERED]


def test_a_failed_receipt_with_a_lettered_error_is_read(rig: SmppRig) -> None:
    rig.peer.tell(receipt="UNDELIV", err="ABS")
    sent = rig.channel.send(message("Hello", PHONE))
    until("the receipt is in", lambda: rig.service.deliveries)
    (delivery,) = rig.service.deliveries
    assert (delivery.provider_id, delivery.state) == (sent.provider_id, DeliveryState.UNDELIVERED)
    assert delivery.reason == "UNDELIV ABS"
    assert rig.channel.send(message("Again", PHONE, key="k2")).provider_id


def test_a_receipt_before_the_answer_is_not_lost(rig: SmppRig) -> None:
    rig.peer.tell(receipt="DELIVRD", early=True)
    sent = rig.channel.send(message("Hello", PHONE))
    until("the receipt is in", lambda: rig.service.deliveries)
    assert rig.service.deliveries[0].provider_id == sent.provider_id


def test_a_throttled_later_part_is_tried_again_so_that_no_half_text_stays(rig: SmppRig) -> None:
    rig.peer.tell(plan=["ok", "throttle", "ok"])
    rig.channel.send(message("a" * 200, PHONE))
    taken = [part["text"] for part in submits(rig) if part["taken"]]
    assert taken == ["a" * 153, "a" * 47]


def test_a_link_lost_under_a_message_leaves_its_outcome_unknown_at_once(rig: SmppRig) -> None:
    rig.peer.tell(plan=["drop_after"])
    begun = time.monotonic()
    with pytest.raises(SendUnknown):
        rig.channel.send(message("Hello", PHONE))
    assert time.monotonic() - begun < rig.settings.answer_within + 1.0
    until("bound again", lambda: len(rig.peer.seen("bind")) == 2)
    time.sleep(0.2)
    assert rig.on_phone() == ["Hello"], "nothing is sent a second time behind the outbox's back"


def test_while_the_link_is_down_a_message_is_certainly_not_sent(rig: SmppRig) -> None:
    rig.peer.stop()
    until("the loss is noticed", lambda: rig.channel.trouble())
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", PHONE))
    assert not isinstance(failed.value, SendUnknown)
    assert not failed.value.permanent


def test_the_link_comes_back_when_the_smsc_does(rig: SmppRig, node: str) -> None:
    rig.peer.stop()
    until("the loss is noticed", lambda: rig.channel.trouble())
    rig.peer = PeerProcess([node, "smsc.js", str(rig.port), "secret"])
    rig.peer.wait_ready()
    until("bound again", lambda: rig.channel.trouble() is None)
    assert rig.channel.send(message("Hello", PHONE)).provider_id


def test_links_cut_again_and_again_lose_nothing_and_double_nothing(rig: SmppRig) -> None:
    """An outbox that tries refused messages again, and resolves unknown ones by looking."""
    texts = [f"message {number}" for number in range(24)]
    for number in range(12):
        rig.says(f"reply {number}")
    rig.peer.tell(plan=["ok", "ok", "drop", "ok", "drop_after", "ok", "ok", "ok", "drop"])

    def deliver(text: str) -> None:
        for _attempt in range(60):
            try:
                rig.channel.send(message(text, PHONE, key=text))
                return
            except SendUnknown:
                if text in rig.on_phone():  # the question an outbox asks the provider or a person
                    return
            except SendFailed:
                time.sleep(0.1)
        raise AssertionError(f"never went out: {text}")

    with ThreadPoolExecutor(4) as workers:
        list(workers.map(deliver, texts))
    until("all replies are in", lambda: len(rig.service.messages) >= 12)
    assert len(rig.peer.seen("bind")) >= 3
    assert sorted(rig.on_phone()) == sorted(texts)
    assert sorted(rig.service.texts()) == sorted(f"reply {number}" for number in range(12))


def test_a_reply_whose_answer_was_lost_with_the_link_has_the_same_id(rig: SmppRig) -> None:
    rig.service.fail_times = 1
    rig.says("I have a cough")
    until("it was tried", lambda: rig.service.calls)
    rig.peer.tell(drop=True)
    until("it is stored", lambda: rig.service.messages)
    time.sleep(0.3)
    assert rig.service.texts() == ["I have a cough"]


def test_a_reply_given_again_after_a_long_outage_has_the_same_id(
    rig: SmppRig, node: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rig.channel._ids, "_unsure", timedelta(seconds=3))
    store = rig.service.on_incoming

    def store_and_lose_the_link(incoming: Incoming) -> None:
        store(incoming)
        rig.peer.stop()  # before our answer can reach it

    rig.channel._on_incoming = store_and_lose_the_link
    rig.says("I have a cough")
    until("it is stored", lambda: rig.service.messages)
    until("the loss is noticed", lambda: rig.channel.trouble())
    rig.channel._on_incoming = store
    time.sleep(3.2)  # several binds fail meanwhile
    rig.peer = PeerProcess([node, "smsc.js", str(rig.port), "secret"])
    rig.peer.wait_ready()
    until("bound again", lambda: rig.channel.trouble() is None)
    rig.says("I have a cough")
    until("it came again", lambda: len(rig.service.calls) == 2)
    assert len({call.message_id for call in rig.service.calls}) == 1


def test_a_long_reply_in_any_order_is_one_message(rig: SmppRig) -> None:
    rig.says_in_parts(["Tengo tos ", "y fiebre ", "desde ayer"], order=[3, 1, 2])
    rig.says_in_parts(["uno ", "dos"], reference=0x1234, bits=16)
    until("both are in", lambda: len(rig.service.messages) == 2)
    assert sorted(rig.service.texts()) == ["Tengo tos y fiebre desde ayer", "uno dos"]


def test_two_phones_with_one_reference_are_not_mixed(rig: SmppRig) -> None:
    other = "12025550199"
    rig.says_in_parts(["mine 1 ", "mine 2"], order=[1])
    rig.says_in_parts(["theirs 1 ", "theirs 2"], **{"from": other})
    rig.says_in_parts(["mine 1 ", "mine 2"], order=[2])
    until("both are in", lambda: len(rig.service.messages) == 2)
    found = {incoming.address: incoming.text for incoming in rig.service.messages.values()}
    assert found == {PHONE: "mine 1 mine 2", f"+{other}": "theirs 1 theirs 2"}


def test_half_a_message_is_handed_in_when_the_rest_does_not_come(node: str) -> None:
    rig = SmppRig(node, part_wait=0.3)
    try:
        rig.says_in_parts(["I have a fever and ", "..."], order=[1])
        until("the half is in", lambda: rig.service.messages)
        assert rig.service.texts() == ["I have a fever and  [part missing]"]
    finally:
        rig.close()


def test_what_waits_for_its_rest_is_handed_in_at_closing(rig: SmppRig) -> None:
    rig.says_in_parts(["I have a fever and ", "..."], order=[1])
    until("the part was answered", lambda: rig.peer.seen("answered"))
    rig.channel.close()
    assert rig.service.texts() == ["I have a fever and  [part missing]"]


def test_parts_answered_before_a_crash_are_joined_after_it(node: str, tmp_path: Path) -> None:
    rig = SmppRig(node, spool=tmp_path / "data" / "parts.json")
    try:
        rig.says_in_parts(["I have a ", "fever"], order=[1])
        until("the part was answered", lambda: rig.peer.seen("answered"))
        rig.channel._loop.close()  # no orderly end: nothing is handed in
        rig.channel = SmppChannel(rig.settings, rig.channel._clock)
        rig.channel.start(rig.service.on_incoming, rig.service.on_delivery)
        until("bound", lambda: rig.channel.trouble() is None)
        rig.says_in_parts(["I have a ", "fever"], order=[2])
        until("it is in", lambda: rig.service.messages)
        assert rig.service.texts() == ["I have a fever"]
        assert (tmp_path / "data" / "parts.json").read_text() == "[]"
    finally:
        rig.close()


def test_a_refused_bind_is_told_as_such_and_the_password_is_not(node: str) -> None:
    rig = SmppRig(node, password="wrong")
    try:
        trouble = until("the refusal is told", lambda: "refused" in (rig.channel.trouble() or "")
                        and rig.channel.trouble())  # fmt: skip
        assert "ESME_RINVPASWD" in trouble
        assert "wrong" not in trouble
        assert "wrong" not in repr(rig.settings)
    finally:
        rig.close()


def test_the_link_is_kept_alive(node: str) -> None:
    rig = SmppRig(node, keep_alive=0.2)
    try:
        until("three enquiries", lambda: len(rig.peer.seen("link")) >= 3)
        assert rig.channel.trouble() is None
    finally:
        rig.close()


def test_an_accented_reply_with_an_emoji_is_read(rig: SmppRig) -> None:
    rig.says("SÍ, mañana 👍")
    until("it is in", lambda: rig.service.messages)
    assert rig.service.texts() == ["SÍ, mañana 👍"]


@pytest.mark.parametrize("address", ["", "nobody", "12025550123", "+1", "+" + "1" * 30])
def test_an_address_that_is_no_number_is_refused_for_good(rig: SmppRig, address: str) -> None:
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", address))
    assert failed.value.permanent
    assert rig.on_phone() == []


def test_closing_unbinds(rig: SmppRig) -> None:
    rig.channel.close()
    with suppress(AssertionError):
        until("the session is closed", lambda: rig.peer.seen("closed"), 3)
    assert rig.peer.seen("closed")
