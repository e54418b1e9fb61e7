"""What a Telegram update means for the service. Pure: an update in, a port value out."""

from datetime import datetime

from telegram import Chat, Message, Update
from telegram.constants import ChatMemberStatus

from bot.channels.base import Delivery, DeliveryState, Incoming

CHANNEL = "telegram"
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
    chat_id = query.message.chat.id
    return Incoming(
        CHANNEL,
        str(chat_id),
        label_pressed(update),
        f"update-{update.update_id}",
        now,
        answers=provider_id(chat_id, query.message.message_id),
    )


def label_pressed(update: Update) -> str:
    """The label of the pressed button; its number if Telegram no longer has the message."""
    query = update.callback_query
    data = (query.data if query else None) or ""
    message = query.message if query else None
    markup = message.reply_markup if isinstance(message, Message) else None
    buttons = [button for row in markup.inline_keyboard for button in row] if markup else []
    return next((button.text for button in buttons if button.callback_data == data), data)


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
