"""What a Telegram update means for the service. Pure: an update in, a port value out."""

from datetime import datetime

from telegram import Chat, Message, Update
from telegram.constants import ChatMemberStatus

from bot.channels.base import Delivery, DeliveryState, Incoming

CHANNEL = "telegram"
BUTTON_OCTETS = 64  # Bot API, InlineKeyboardButton.callback_data
# Kinds without text. They are handed on by name: a voice message may hold an alarm, so a person
# must learn that one came.
_WORDLESS = ("voice", "audio", "photo", "video", "video_note", "document", "location", "contact")


def provider_id(chat_id: int | str, message_id: int) -> str:
    """A message of ours, as stored: Telegram numbers messages within a chat."""
    return f"{chat_id}/{message_id}"


def message_number(provider_id: str) -> int:
    """The number within its chat of a message stored as `provider_id`."""
    return int(provider_id.rpartition("/")[2])


def incoming(update: Update, now: datetime, enrol: str | None = None) -> Incoming | None:
    """The message in an update of a private chat, or None if it has none (or is of a group).

    An edited message is a new message: "no fever" may have become "fever".
    """
    message = update.message or update.edited_message
    if message is None or message.chat.type != Chat.PRIVATE:
        return None
    text = words(message)
    return Incoming(
        CHANNEL, str(message.chat.id), text, f"update-{update.update_id}", now, enrol=enrol
    )


def words(message: Message) -> str:
    """The text, caption or emoji; for a message without words its kind, in square brackets."""
    if message.text or message.caption:
        return message.text or message.caption or ""
    if message.sticker:
        return message.sticker.emoji or "[sticker]"
    kind = next((name for name in _WORDLESS if getattr(message, name, None)), "message")
    return f"[{kind.replace('_', ' ')}]"


def pressed(update: Update, now: datetime) -> Incoming | None:
    """The button pressed, as if its label had been typed, and whose message it belonged to."""
    query = update.callback_query
    if query is None or query.message is None or query.message.chat.type != Chat.PRIVATE:
        return None
    return Incoming(
        CHANNEL,
        str(query.message.chat.id),
        label_pressed(update),
        f"update-{update.update_id}",
        now,
        answers=key_pressed(query.data or ""),
    )


def label_pressed(update: Update) -> str:
    """The label of the pressed button; its number if Telegram no longer has the message."""
    query = update.callback_query
    data = (query.data if query else None) or ""
    message = query.message if query else None
    markup = message.reply_markup if isinstance(message, Message) else None
    buttons = [button for row in markup.inline_keyboard for button in row] if markup else []
    number = data.partition(":")[0]
    return next((button.text for button in buttons if button.callback_data == data), number)


def button_data(number: int, key: str) -> str:
    """What a button sends back: its number and the key of its message, if that has room.

    The key and not Telegram's own number, so that a button still says what it answers when the
    message arrived but Telegram's answer to us did not.
    """
    data = f"{number}:{key}"
    return data if len(data.encode()) <= BUTTON_OCTETS else str(number)


def key_pressed(data: str) -> str | None:
    """The key of the message that a pressed button belongs to; None if it had no room."""
    return data.partition(":")[2] or None


def blocked(update: Update, now: datetime) -> Delivery | None:
    """The patient blocked the bot: nothing sent there arrives any more."""
    change = update.my_chat_member
    if change is None or change.chat.type != Chat.PRIVATE:
        return None
    if change.new_chat_member.status != ChatMemberStatus.BANNED:
        return None
    reason = "the patient blocked the bot"
    return Delivery(
        CHANNEL, DeliveryState.UNDELIVERED, now, address=str(change.chat.id), reason=reason
    )
