"""What an update means, without any network."""

from datetime import UTC, datetime
from typing import Any

import pytest
from telegram import Update

from bot.channels import telegram_read as read

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
CHAT = {"id": 4711, "type": "private", "first_name": "Pat"}
PAT = {"id": 4711, "is_bot": False, "first_name": "Pat"}


def update(kind: str = "message", chat: dict[str, Any] = CHAT, **fields: Any) -> Update:
    message = {"message_id": 5, "date": 1764061200, "chat": chat, "from": PAT, **fields}
    return Update.de_json({"update_id": 9, kind: message}, None)


def pressed(data: str, **message: Any) -> Update:
    kept = {"message_id": 5, "date": 1764061200, "chat": CHAT, **message}
    query = {"id": "1", "from": PAT, "chat_instance": "x", "data": data, "message": kept}
    return Update.de_json({"update_id": 9, "callback_query": query}, None)


FILE = {"file_id": "f", "file_unique_id": "u"}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"text": "fever"}, "fever"),
        ({"photo": [{**FILE, "width": 1, "height": 1}], "caption": "my rash"}, "my rash"),
        ({"photo": [{**FILE, "width": 1, "height": 1}]}, "[photo]"),
        ({"voice": {**FILE, "duration": 1}}, "[voice]"),
        ({"video_note": {**FILE, "duration": 1, "length": 1}}, "[video note]"),
        ({"dice": {"emoji": "🎲", "value": 1}}, "[message]"),
    ],
)
def test_every_kind_of_message_is_handed_on(fields: dict[str, Any], words: str) -> None:
    incoming = read.incoming(update(**fields), NOW)
    assert incoming is not None
    assert (incoming.text, incoming.address, incoming.message_id) == (words, "4711", "update-9")


def test_an_edited_message_is_a_new_one() -> None:
    incoming = read.incoming(update("edited_message", text="fever", edit_date=1764061300), NOW)
    assert incoming is not None
    assert incoming.text == "fever"


def test_a_group_is_not_answered() -> None:
    group = {"id": -5, "type": "group", "title": "Family"}
    assert read.incoming(update(chat=group, text="fever"), NOW) is None


def test_a_button_is_read_by_its_label() -> None:
    labels = enumerate(("Done", "Later"), start=1)
    keyboard = [[{"text": t, "callback_data": read.button_data(n, "turn.1")}] for n, t in labels]
    data = read.button_data(2, "turn.1")
    incoming = read.pressed(
        pressed(data, text="?", reply_markup={"inline_keyboard": keyboard}), NOW
    )
    assert incoming is not None
    assert (incoming.text, incoming.answers) == ("Later", "turn.1")


def test_a_button_of_a_message_that_is_gone_is_read_by_its_number() -> None:
    incoming = read.pressed(pressed("2:turn.1", date=0), NOW)
    assert incoming is not None
    assert (incoming.text, incoming.answers) == ("2", "turn.1")


def test_a_key_too_long_for_a_button_is_left_out() -> None:
    assert read.button_data(1, "k" * 62) == "1:" + "k" * 62
    assert read.button_data(1, "k" * 63) == "1"
    assert read.key_pressed("1") is None


def test_ids_of_our_messages_go_there_and_back() -> None:
    assert read.message_number(read.provider_id("4711", 5)) == 5
