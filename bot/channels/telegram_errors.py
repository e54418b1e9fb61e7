"""What an error of the Bot API means for the outbox: refused for good, for now, or unknown."""

import httpx
from telegram.error import (
    BadRequest,
    ChatMigrated,
    Forbidden,
    InvalidToken,
    NetworkError,
    RetryAfter,
    TimedOut,
)

from bot.channels.base import SendFailed, SendUnknown

# Raised by the HTTP client before a byte of the request has left.
_NEVER_LEFT = (httpx.ConnectError, httpx.ConnectTimeout, httpx.PoolTimeout)


def failure(error: Exception) -> SendFailed:
    """The port's error for one of the library's. Where in doubt the outcome is unknown."""
    if isinstance(error, RetryAfter):
        return SendFailed("Telegram asks to wait", permanent=False, retry_after=wait_asked(error))
    if isinstance(error, InvalidToken):
        return SendFailed("the bot's token is refused", permanent=False)
    if isinstance(error, Forbidden):
        return SendFailed(f"not allowed to write to this chat: {error.message}", permanent=True)
    if isinstance(error, BadRequest | ChatMigrated):
        return SendFailed(f"Telegram refused the message: {error.message}", permanent=True)
    if isinstance(error, TimedOut | NetworkError) and isinstance(error.__cause__, _NEVER_LEFT):
        return SendFailed("Telegram cannot be reached", permanent=False)
    return SendUnknown(f"no answer from Telegram: {type(error).__name__}")


def not_modified(error: Exception) -> bool:
    """True if an edit was refused because the message already reads so: nothing left to do."""
    return isinstance(error, BadRequest) and "not modified" in error.message.lower()


def not_editable(error: Exception) -> bool:
    """True if an edit was refused because the message is gone or too old: send a new one."""
    if not isinstance(error, BadRequest):
        return False
    words = error.message.lower()
    return "can't be edited" in words or "message to edit not found" in words


def wait_asked(error: Exception) -> float | None:
    """The seconds that Telegram asks to wait; None if the error asks for no wait."""
    if not isinstance(error, RetryAfter):
        return None
    wait = error.retry_after
    return float(wait if isinstance(wait, int) else wait.total_seconds())
