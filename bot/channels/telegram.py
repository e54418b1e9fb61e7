"""Telegram over its Bot API: long polling by default, a webhook when a public address is set.

An update is confirmed to Telegram (by the next offset, or by answering the webhook with 200) only
after the service has stored it. The library's own polling confirms earlier, so the loop is ours.
"""

import asyncio
import contextlib
import logging
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from functools import partial
from typing import Any

from telegram import InlineKeyboardMarkup, Update
from telegram.error import Forbidden, InvalidToken, TelegramError
from telegram.ext import (
    CallbackContext,
    CallbackQueryHandler,
    ChatMemberHandler,
    CommandHandler,
    MessageHandler,
    filters,
)
from telegram.helpers import create_deep_linked_url

from bot.channels import telegram_read as read
from bot.channels.base import Clock, Incoming, OnDelivery, OnIncoming, Outgoing, SendFailed, Sent
from bot.channels.form import TELEGRAM_TEXT, cut
from bot.channels.loop_thread import LoopThread, in_thread
from bot.channels.telegram_client import (
    WEBHOOK_PATH,
    TelegramSettings,
    application,
    buttons,
    show_pressed,
)
from bot.channels.telegram_errors import failure, not_editable, not_modified, wait_asked

log = logging.getLogger(__name__)
UPDATES = [Update.MESSAGE, Update.EDITED_MESSAGE, Update.CALLBACK_QUERY, Update.MY_CHAT_MEMBER]
_STANDBY = 2.0  # seconds between two looks whether it is our turn to poll
Context = CallbackContext[Any, Any, Any, Any]


class TelegramChannel:
    """The port over one bot. Its asyncio runs in a thread of its own."""

    def __init__(
        self,
        settings: TelegramSettings,
        clock: Clock,
        may_poll: Callable[[], bool] = lambda: True,
    ) -> None:
        self._settings = settings
        self._may_poll = may_poll  # Telegram gives the updates to one asker at a time
        self._clock = clock
        self._loop = LoopThread("telegram")
        self._app = application(settings)
        self._turn = asyncio.Lock()
        self._failed: Exception | None = None
        self._trouble: str | None = "not started"
        self._ready = False
        self._serving: Future[None] | None = None
        self._on_incoming: OnIncoming | None = None
        self._on_delivery: OnDelivery | None = None
        self._listen()

    @property
    def name(self) -> str:
        """Always "telegram"."""
        return read.CHANNEL

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Begins to fetch updates, or registers the webhook. Goes on trying if it cannot yet."""
        self._on_incoming, self._on_delivery = on_incoming, on_delivery
        self._serving = self._loop.begin(self._serve())

    def send(self, outgoing: Outgoing) -> Sent:
        """Sends or edits one message. Choices become buttons under the last piece."""
        if not outgoing.address.isdigit():
            raise SendFailed("Telegram knows chats by number: the patient must open the link", True)
        try:
            return self._loop.run(self._send(outgoing), self._settings.answer_within * 2)
        except (TelegramError, TimeoutError) as error:
            raise failure(error) from error

    def receive(self, update: Mapping[str, object]) -> None:
        """Takes one update from the webhook route; returns once it is stored, raises if not."""
        parsed = Update.de_json(dict(update), self._app.bot)
        self._loop.run(self._handle(parsed), self._settings.answer_within)

    def enrolment_link(self, code: str) -> str:
        """The deep link of the handout: opens the chat and sends /start CODE."""
        return create_deep_linked_url(self._app.bot.username, code)

    def trouble(self) -> str | None:
        """What keeps the bot from its updates; None while they come in."""
        return self._trouble

    def close(self) -> None:
        """Stops fetching and closes the connections."""
        if self._loop.closed:
            return
        if self._serving:
            self._serving.cancel()
        with contextlib.suppress(TelegramError, RuntimeError, TimeoutError):
            self._loop.run(self._app.shutdown(), 10)
        self._loop.close()
        self._trouble = "closed"

    def _listen(self) -> None:
        private = filters.ChatType.PRIVATE
        for handler in (
            CommandHandler("start", self._on_start, filters=private),
            MessageHandler(private, self._on_message),
            CallbackQueryHandler(self._on_button),
            ChatMemberHandler(self._on_member, ChatMemberHandler.MY_CHAT_MEMBER),
        ):
            self._app.add_handler(handler)
        self._app.add_error_handler(self._on_error)

    async def _serve(self) -> None:
        """Connects, then polls for ever or leaves the rest to the webhook route."""
        pause = 1.0
        while not self._ready:
            try:
                await self._connect()
                self._ready, self._trouble = True, None
            except TelegramError as error:
                self._note(error)
                await asyncio.sleep(pause)
                pause = min(pause * 2, self._settings.longest_pause)
        if self._settings.receives and self._settings.public_url is None:
            await self._poll()

    async def _connect(self) -> None:
        await self._app.initialize()
        if not self._settings.receives:
            return
        if self._settings.public_url is None:
            await self._app.bot.delete_webhook()
            return
        await self._app.bot.set_webhook(
            self._settings.public_url.rstrip("/") + WEBHOOK_PATH,
            secret_token=self._settings.webhook_secrets[0],
            allowed_updates=UPDATES,
        )

    async def _poll(self) -> None:
        offset, pause = 0, 1.0
        while True:
            try:
                if not await asyncio.to_thread(self._may_poll):
                    await asyncio.sleep(_STANDBY)
                    continue
                updates = await self._app.bot.get_updates(
                    offset, timeout=self._settings.poll_seconds, allowed_updates=UPDATES
                )
                for update in updates:
                    await self._handle(update)
                    offset = update.update_id + 1
                self._trouble, pause = None, 1.0
                await asyncio.sleep(self._settings.pause)
            except Exception as error:
                self._note(error)
                await asyncio.sleep(wait_asked(error) or pause)
                pause = min(pause * 2, self._settings.longest_pause)

    async def _handle(self, update: Update) -> None:
        """Gives one update to the handlers. Raises what they raised: the update stays open."""
        async with self._turn:
            self._failed = None
            await self._app.process_update(update)
            if self._failed:
                raise self._failed

    async def _on_error(self, _update: object, context: Context) -> None:
        self._failed = context.error

    async def _on_start(self, update: Update, context: Context) -> None:
        code = context.args[0] if context.args else None
        await self._hand_in(read.incoming(update, self._clock(), enrol=code))

    async def _on_message(self, update: Update, _context: Context) -> None:
        await self._hand_in(read.incoming(update, self._clock()))

    async def _on_button(self, update: Update, _context: Context) -> None:
        await self._hand_in(read.pressed(update, self._clock()))
        with contextlib.suppress(TelegramError):  # the answer is stored; this is only looks
            await show_pressed(update)

    async def _on_member(self, update: Update, _context: Context) -> None:
        delivery = read.blocked(update, self._clock())
        if delivery and self._on_delivery:
            await in_thread(partial(self._on_delivery, delivery))

    async def _hand_in(self, incoming: Incoming | None) -> None:
        if incoming and self._on_incoming:
            await in_thread(partial(self._on_incoming, incoming))

    async def _send(self, outgoing: Outgoing) -> Sent:
        *first, last = cut(outgoing.text, TELEGRAM_TEXT)
        markup = buttons(outgoing.choices, outgoing.key)
        if outgoing.replaces and not first and await self._edit(outgoing, markup):
            return Sent(outgoing.replaces)
        for piece in first:
            await self._app.bot.send_message(outgoing.address, piece)
        message = await self._app.bot.send_message(outgoing.address, last, reply_markup=markup)
        return Sent(read.provider_id(outgoing.address, message.message_id))

    async def _edit(self, outgoing: Outgoing, markup: InlineKeyboardMarkup | None) -> bool:
        """Edits the message that this one replaces; False if Telegram no longer allows that."""
        number = read.message_number(outgoing.replaces or "")
        try:
            await self._app.bot.edit_message_text(
                outgoing.text, outgoing.address, number, reply_markup=markup
            )
        except TelegramError as error:
            if not_editable(error):
                return False
            return not_modified(error) or _raise(error)
        return True

    def _note(self, error: Exception) -> None:
        """Keeps the trouble for `trouble()` and logs its kind: never a text, never the token."""
        kind = type(error).__name__
        refused = isinstance(error, InvalidToken | Forbidden)
        hint = "the token is refused: set the bot's token anew" if refused else kind
        self._trouble = f"Telegram cannot be used: {hint}"
        log.warning("telegram trouble: %s", kind)


def _raise(error: Exception) -> bool:
    raise error
