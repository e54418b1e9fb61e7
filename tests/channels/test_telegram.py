"""The Telegram adapter against a Bot API server written by others, polling and by webhook."""

from collections.abc import Iterator

import httpx
import pytest
from http_peers import Served
from peer_process import free_port, until
from rigs import TelegramRig, message, now

from bot.channels.base import DeliveryState, Outgoing, SendFailed, SendUnknown
from bot.channels.telegram import TelegramChannel
from bot.channels.webhooks import telegram_routes

pytestmark = pytest.mark.peers
CODE = "enr_AbC-123"


@pytest.fixture
def rig(node: str) -> Iterator[TelegramRig]:
    made = TelegramRig(node)
    yield made
    made.close()


def arrived(rig: TelegramRig, number: int = 1) -> list[str]:
    until(f"{number} messages are in", lambda: len(rig.service.messages) >= number)
    return rig.service.texts()


def test_the_deep_link_opens_the_chat_with_its_code(rig: TelegramRig) -> None:
    link = rig.channel.enrolment_link(CODE)
    assert link == f"https://t.me/coach_test_bot?start={CODE}"
    rig.command(f"/start {CODE}")
    arrived(rig)
    (incoming,) = rig.service.messages.values()
    assert (incoming.enrol, incoming.address) == (CODE, rig.address)


def test_start_without_a_code_has_none(rig: TelegramRig) -> None:
    rig.command("/start")
    arrived(rig)
    assert next(iter(rig.service.messages.values())).enrol is None


def test_a_code_that_no_link_can_carry_is_refused(rig: TelegramRig) -> None:
    for bad in ("a.b", "x" * 65, "á"):
        with pytest.raises(ValueError, match=r"\S"):
            rig.channel.enrolment_link(bad)


def test_a_button_answers_like_its_label_and_names_its_message(rig: TelegramRig) -> None:
    rig.channel.send(message("Did you wash?", rig.address, ("Done", "Later", "No"), key="k9"))
    rig.press("Later")
    rig.says("2")
    assert arrived(rig, 2) == ["Later", "2"]
    pressed, typed = rig.service.messages.values()
    assert pressed.answers == "k9"
    assert typed.answers is None


def test_a_pressed_button_is_shown_in_place_of_the_buttons(rig: TelegramRig) -> None:
    rig.channel.send(message("Did you wash?", rig.address, ("Done", "Later")))
    rig.press("Done")
    until("the message is edited", lambda: rig.on_phone() == ["Did you wash?\n\n> Done"])


def test_a_corrected_message_is_edited_and_not_repeated(rig: TelegramRig) -> None:
    first = rig.channel.send(message("Arrive at 6:00 AM", rig.address, key="k1"))
    moved = Outgoing("k2", rig.address, "Arrive at 9:00 AM", (), replaces=first.provider_id)
    assert rig.channel.send(moved).provider_id == first.provider_id
    assert rig.on_phone() == ["Arrive at 9:00 AM"]


def test_a_message_too_old_to_edit_is_sent_anew(rig: TelegramRig) -> None:
    first = rig.channel.send(message("Arrive at 6:00 AM", rig.address, key="k1"))
    text = "Bad Request: message can't be edited"
    rig.fault(method="editMessageText", error_code=400, description=text)
    moved = Outgoing("k2", rig.address, "Arrive at 9:00 AM", (), replaces=first.provider_id)
    assert rig.channel.send(moved).provider_id != first.provider_id
    assert rig.on_phone() == ["Arrive at 6:00 AM", "Arrive at 9:00 AM"]


def test_an_edit_that_changes_nothing_counts_as_done(rig: TelegramRig) -> None:
    first = rig.channel.send(message("Arrive at 6:00 AM", rig.address, key="k1"))
    text = "Bad Request: message is not modified"
    rig.fault(method="editMessageText", error_code=400, description=text)
    same = Outgoing("k2", rig.address, "Arrive at 6:00 AM", (), replaces=first.provider_id)
    assert rig.channel.send(same).provider_id == first.provider_id


def test_a_patient_who_blocks_the_bot_is_reported_as_undelivered(rig: TelegramRig) -> None:
    person = {"id": rig.chat, "is_bot": False, "first_name": "Pat"}
    bot = {"id": 7, "is_bot": True, "first_name": "Coach"}
    change = {
        "chat": {"id": rig.chat, "type": "private", "first_name": "Pat"},
        "from": person,
        "date": 1764061200,
        "old_chat_member": {"user": bot, "status": "member"},
        "new_chat_member": {"user": bot, "status": "kicked", "until_date": 0},
    }
    rig.user.post("/_update", json={"token": rig.token, "update": {"my_chat_member": change}})
    until("the block is told", lambda: rig.service.deliveries)
    (delivery,) = rig.service.deliveries
    assert (delivery.address, delivery.state) == (rig.address, DeliveryState.UNDELIVERED)


def test_an_unknown_chat_is_refused_for_good(rig: TelegramRig) -> None:
    rig.fault(method="sendMessage", error_code=400, description="Bad Request: chat not found")
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", rig.address))
    assert failed.value.permanent


def test_what_is_no_chat_is_refused_for_good(rig: TelegramRig) -> None:
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", "+12025550150"))
    assert failed.value.permanent
    assert "link" in failed.value.reason


def test_a_server_error_leaves_the_outcome_unknown(rig: TelegramRig) -> None:
    rig.fault(method="sendMessage", error_code=502, description="Bad Gateway")
    with pytest.raises(SendUnknown):
        rig.channel.send(message("Hello", rig.address))


def test_a_server_that_is_down_certainly_did_not_take_the_message(rig: TelegramRig) -> None:
    rig.peer.stop()
    with pytest.raises(SendFailed) as failed:
        rig.channel.send(message("Hello", rig.address))
    assert not isinstance(failed.value, SendUnknown)
    until("the trouble is told", lambda: rig.channel.trouble())


def test_a_message_without_words_still_comes_in(rig: TelegramRig) -> None:
    voice = {"file_id": "f", "file_unique_id": "u", "duration": 3}
    rig.user.post("/sendMessage", json=rig._from_user(voice=voice))
    assert arrived(rig) == ["[voice]"]


def test_updates_not_stored_before_a_crash_come_again_after_it(rig: TelegramRig) -> None:
    rig.service.fail_times = 10_000
    rig.says("I have a rash")
    until("it was tried", lambda: rig.service.calls)
    rig.channel.close()
    rig.service.fail_times = 0
    rig.channel = rig.new_channel()
    assert arrived(rig) == ["I have a rash"]
    assert len({call.message_id for call in rig.service.calls}) == 1


def test_a_refused_token_is_told_in_words_and_not_quoted(rig: TelegramRig) -> None:
    rig.channel.close()
    text = "Unauthorized"
    rig.fault(method="getMe", error_code=401, description=text, times=3)
    channel = TelegramChannel(rig.settings, now)
    channel.start(rig.service.on_incoming, rig.service.on_delivery)
    trouble = until(
        "the refusal is told", lambda: "token" in (channel.trouble() or "") and channel.trouble()
    )
    assert rig.token not in trouble
    channel.close()


def test_by_webhook_only_calls_with_a_live_secret_are_taken(node: str) -> None:
    secrets = ("Webhook_secret-1", "Webhook_secret-0")
    port = free_port()
    rig = TelegramRig(node, public_url=f"http://127.0.0.1:{port}", webhook_secrets=secrets)
    hooks = Served(telegram_routes(rig.channel, secrets), port)
    update = {
        "update_id": 900,
        "message": {**rig._from_user(text="hi"), "message_id": 5, "date": 1764061200},
    }
    url = hooks.url + "/channels/telegram"
    try:
        rig.says("by webhook")
        assert arrived(rig) == ["by webhook"]
        for secret in ("", "wrong", secrets[0] + "x"):
            header = {"X-Telegram-Bot-Api-Secret-Token": secret} if secret else {}
            assert httpx.post(url, json=update, headers=header).status_code == 403
        assert len(rig.service.calls) == 1
        live = {"X-Telegram-Bot-Api-Secret-Token": secrets[1]}
        rig.service.fail_times = 1
        assert httpx.post(url, json=update, headers=live).status_code == 500
        assert httpx.post(url, json=update, headers=live).status_code == 200
        assert httpx.post(url, json=update, headers=live).status_code == 200
        assert sorted(rig.service.texts()) == ["by webhook", "hi"]
        assert httpx.post(url, content=b"{", headers=live).status_code == 400
        new_kind = {"update_id": 901, "kind_of_tomorrow": {"a": 1}}
        assert httpx.post(url, json=new_kind, headers=live).status_code == 200
    finally:
        rig.close()
        hooks.stop()
