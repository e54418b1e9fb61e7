"""The HTTP gateway adapter: templates, signatures, replays, statuses, and what errors mean."""

import json
from collections.abc import Iterator

import pytest
from http_peers import OLD_SECRET, HttpRig, settings_for
from peer_process import free_port
from rigs import PHONE, message, now

from bot.channels.base import DeliveryState, SendFailed, SendUnknown
from bot.channels.http_sms import HttpSmsChannel
from bot.channels.http_template import Inbound, coded, our_key
from bot.channels.webhooks import LARGEST, MESSAGE_PATH, STATUS_PATH

BODY = json.dumps({"id": "mo-1", "from": PHONE, "text": "STOP"}).encode()


@pytest.fixture(scope="module")
def standing_rig() -> Iterator[HttpRig]:
    """One pair of servers for all tests of this file."""
    made = HttpRig()
    yield made
    made.close()


@pytest.fixture
def rig(standing_rig: HttpRig) -> HttpRig:
    """The servers with nothing in them."""
    standing_rig.renew()
    return standing_rig


def test_the_template_makes_the_request_and_the_id_is_taken_from_the_answer(rig: HttpRig) -> None:
    sent = rig.channel.send(message("Did you wash?", PHONE, ("Done", "Later"), key="out-9"))
    assert (sent.provider_id, sent.segments) == ("gw-1", 1)
    assert rig.gateway.taken == [
        {
            "recipient": PHONE,
            "originator": "+12025550100",
            "body": "Did you wash?\n1 Done\n2 Later",
            "ref": "out-9",
        }
    ]
    assert rig.gateway.keys == [coded("out-9")]


def test_a_key_of_any_letters_can_travel(rig: HttpRig) -> None:
    rig.channel.send(message("Hello", PHONE, key="case.1.Nuria Núñez"))
    assert rig.gateway.taken[0]["ref"] == "case.1.Nuria Núñez"
    assert our_key(Inbound(coded_key="k"), {"k": rig.gateway.keys[0]}) == "case.1.Nuria Núñez"


def test_a_placeholder_inside_a_text_stays_as_it_was_written(rig: HttpRig) -> None:
    rig.channel.send(message("Use {secret} and {to", PHONE))
    assert rig.on_phone() == ["Use {secret} and {to"]


@pytest.mark.parametrize("status", [401, 402, 403, 404])
def test_a_fault_of_the_settings_is_temporary_and_told_to_it(rig: HttpRig, status: int) -> None:
    rig.gateway.plan.append((status, {}))
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", PHONE))
    assert not failed.value.permanent
    assert str(status) in (rig.channel.trouble() or "")


def test_a_gateway_that_is_down_certainly_did_not_take_the_message() -> None:
    channel = HttpSmsChannel(settings_for(f"http://127.0.0.1:{free_port()}/send"), now)
    with pytest.raises(SendFailed) as failed:
        channel.send(message("Hello", PHONE))
    assert "cannot be reached" in (channel.trouble() or "")
    channel.close()
    assert not isinstance(failed.value, SendUnknown)
    assert not failed.value.permanent


def test_a_genuine_message_is_taken_with_either_live_secret(rig: HttpRig) -> None:
    for number, secret in enumerate(("new-webhook-secret", OLD_SECRET)):
        body = BODY.replace(b"mo-1", b"mo-%d" % number)
        answer = rig.post(MESSAGE_PATH, body, rig.signed(body, secret))
        assert (answer.status_code, answer.json()) == (200, {"result": "stored"})
    assert len(rig.service.messages) == 2


def test_forged_unsigned_stale_and_altered_calls_are_refused(rig: HttpRig) -> None:
    fresh, good = str(int(now().timestamp())), rig.signed(BODY)
    long_ago = str(int(now().timestamp()) - 301)
    ahead = str(int(now().timestamp()) + 310)
    calls = {
        "forged": (BODY, rig.signed(BODY, "another-secret")),
        "unsigned": (BODY, {"content-type": "application/json"}),
        "no stamp": (BODY, {k: v for k, v in good.items() if k != "x-timestamp"}),
        "altered body": (BODY.replace(b"STOP", b"START"), good),
        "altered stamp": (BODY, good | {"x-timestamp": str(int(fresh) + 1)}),
        "stale": (BODY, rig.signed(BODY, stamp=long_ago)),
        "from the future": (BODY, rig.signed(BODY, stamp=ahead)),
        "no number": (BODY, rig.signed(BODY, stamp="now")),
        "empty signature": (BODY, good | {"x-signature": ""}),
    }
    for what, (body, headers) in calls.items():
        for path in (MESSAGE_PATH, STATUS_PATH):
            assert rig.post(path, body, headers).status_code == 403, what
    assert rig.service.calls == []
    assert rig.service.deliveries == []


def test_a_signature_without_a_body_does_not_open_the_query(rig: HttpRig) -> None:
    path = f"{MESSAGE_PATH}?id=1&from=%2B12025550123&text=hi"
    assert rig.post(path, b"", rig.signed(b"")).status_code == 400
    assert rig.service.calls == []


def test_a_replay_is_answered_but_not_handed_in_again(rig: HttpRig) -> None:
    headers = rig.signed(BODY)
    answers = [rig.post(MESSAGE_PATH, BODY, headers).json()["result"] for _ in range(3)]
    assert answers == ["stored", "repeat", "repeat"]
    assert len(rig.service.calls) == 1


def test_a_repeat_signed_anew_has_the_same_id_and_is_kept_once(rig: HttpRig) -> None:
    now_stamp = int(now().timestamp())
    for stamp in (now_stamp, now_stamp - 1):
        rig.post(MESSAGE_PATH, BODY, rig.signed(BODY, stamp=str(stamp)))
    assert len(rig.service.calls) == 2
    assert list(rig.service.messages) == ["mo-1"]


def test_a_call_that_could_not_be_stored_may_come_again_unchanged(rig: HttpRig) -> None:
    rig.service.fail_times = 1
    headers = rig.signed(BODY)
    assert rig.post(MESSAGE_PATH, BODY, headers).status_code == 500
    assert rig.post(MESSAGE_PATH, BODY, headers).status_code == 200
    assert list(rig.service.messages) == ["mo-1"]


@pytest.mark.parametrize(
    "body",
    [b"{", b'{"id": "1"}', b"[]", b'"x"', b"\xff", b"[" * 5000, b'{"a":' * 12 + b"1" + b"}" * 12],
)
def test_an_unreadable_body_is_refused(rig: HttpRig, body: bytes) -> None:
    assert rig.post(MESSAGE_PATH, body, rig.signed(body)).status_code == 400
    assert rig.service.calls == []


def test_a_body_over_the_limit_is_refused_unread(rig: HttpRig) -> None:
    body = b" " * (LARGEST + 1)
    assert rig.post(MESSAGE_PATH, body, rig.signed(body)).status_code == 413


def test_a_web_form_is_read_like_json(rig: HttpRig) -> None:
    body = b"id=f-1&from=12025550123&text=S%C3%AD%2C+ma%C3%B1ana+%F0%9F%91%8D"
    headers = rig.signed(body) | {"content-type": "application/x-www-form-urlencoded"}
    assert rig.post(MESSAGE_PATH, body, headers).status_code == 200
    (incoming,) = rig.service.messages.values()
    assert (incoming.address, incoming.text) == (PHONE, "Sí, mañana 👍")


def test_a_status_names_the_message_by_both_ids(rig: HttpRig) -> None:
    assert rig.status(id="gw-1", ref="out-9", status="delivered").status_code == 200
    (delivery,) = rig.service.deliveries
    assert (delivery.provider_id, delivery.key) == ("gw-1", "out-9")
    assert delivery.state is DeliveryState.DELIVERED


def test_an_unknown_status_word_is_answered_and_changes_nothing(rig: HttpRig) -> None:
    assert rig.status(id="gw-1", status="buffered").status_code == 200
    assert rig.service.deliveries == []


def test_secrets_do_not_show_in_the_repr() -> None:
    shown = repr(settings_for("http://127.0.0.1:1/send"))
    assert "secret" not in shown.replace("webhook_secrets", "")
    assert isinstance(HttpSmsChannel(settings_for("http://127.0.0.1:1/send"), now).name, str)
