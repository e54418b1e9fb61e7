"""The Telegram client as this project uses it: settings, construction, buttons."""

import os
from dataclasses import dataclass, field
from typing import Any

from telegram import InlineKeyboardButton, InlineKeyboardMarkup, Message, Update
from telegram.ext import AIORateLimiter, Application

from bot.channels.form import button_rows, chosen
from bot.channels.telegram_read import button_data, label_pressed

WEBHOOK_PATH = "/channels/telegram"
os.environ.setdefault("PTB_TIMEDELTA", "1")  # the library's coming way of telling waits


@dataclass(frozen=True, slots=True)
class TelegramSettings:
    """How to reach the Bot API. Times in seconds. Secrets do not show in the repr."""

    token: str = field(repr=False)
    public_url: str | None = None  # set: webhook at public_url + "/channels/telegram"
    webhook_secrets: tuple[str, ...] = field(default=(), repr=False)  # first one is registered
    api: str = "https://api.telegram.org"
    receives: bool = True  # False: this process only sends; another takes the updates
    poll_seconds: int = 30
    pause: float = 0.0  # between two polls that brought something
    answer_within: float = 20.0
    longest_pause: float = 60.0  # between attempts while Telegram cannot be reached


def application(settings: TelegramSettings) -> Application[Any, Any, Any, Any, Any, Any]:
    """The library's application without its own polling, paced, with our time limits."""
    seconds = settings.answer_within
    return (
        Application.builder()
        .token(settings.token)
        .base_url(settings.api + "/bot")
        .base_file_url(settings.api + "/file/bot")
        .updater(None)
        .read_timeout(seconds)
        .write_timeout(seconds)
        .connect_timeout(seconds)
        .get_updates_read_timeout(settings.poll_seconds + seconds)
        .rate_limiter(AIORateLimiter(max_retries=0))  # paces; the outbox does the trying again
        .build()
    )


def buttons(choices: tuple[str, ...], key: str) -> InlineKeyboardMarkup | None:
    """The choices as buttons. Each carries its number and the key of its message."""
    if not choices:
        return None
    rows = [
        [InlineKeyboardButton(label, callback_data=button_data(number, key)) for label in row]
        for number, row in enumerate(button_rows(choices), start=1)
    ]
    return InlineKeyboardMarkup(rows)


async def show_pressed(update: Update) -> None:
    """Stops the button's spinner and writes the choice under the message in place of buttons."""
    query = update.callback_query
    if query is None:
        return
    await query.answer()
    if isinstance(query.message, Message) and query.message.text:
        await query.edit_message_text(chosen(query.message.text, label_pressed(update)))
