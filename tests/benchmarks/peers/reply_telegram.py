"""The same dialogue on python-telegram-bot's ConversationHandler, pickled to disk at each reply."""

import asyncio
import json
import os
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import dialogue
import measured
import reader
from telegram import Chat, Message, Update, User
from telegram.ext import (
    ApplicationBuilder,
    ConversationHandler,
    MessageHandler,
    PersistenceInput,
    PicklePersistence,
    filters,
)
from telegram.request import BaseRequest

TOKEN = "1000000001:not-a-real-token"


class Offline(BaseRequest):
    """No network: the bot learns its own name, and nothing is ever sent."""

    read_timeout = None

    async def initialize(self):
        pass

    async def shutdown(self):
        pass

    async def do_request(self, url, method, *_timeouts, **_more):
        if not url.endswith("/getMe"):
            raise RuntimeError(f"{method} {url}: nothing was to be sent")
        me = {"id": 1, "is_bot": True, "first_name": "Coach", "username": "coach_bot"}
        return 200, json.dumps({"ok": True, "result": me}).encode()


class Durable(PicklePersistence):
    """One file, written at flush; flush returns when the file is on the disk."""

    async def flush(self):
        await super().flush()
        with Path(self.filepath).open("rb") as written:
            os.fsync(written.fileno())


class Bot:
    """A state for each question. What is said is kept to be sent, as in the service."""

    def __init__(self, steps, whole_log):
        self.steps, self.whole_log, self.read = steps, whole_log, reader.make_reader()

    def handler(self):
        states = {
            nth: [MessageHandler(filters.TEXT, self.answer_to(nth))]
            for nth in range(len(self.steps))
        }
        return ConversationHandler(
            entry_points=[MessageHandler(filters.Regex("^/begin$"), self.begin)],
            states=states, fallbacks=[], name="dialogue", persistent=True, per_chat=False,
        )  # fmt: skip

    async def begin(self, update, context):
        context.user_data.update(dialogue.fresh(update.effective_user.id - 1, self.steps))
        return 0

    def answer_to(self, nth):
        async def answer(update, context):
            text, at = update.message.text, update.message.date.isoformat()
            reading = self.read(text, self.steps[nth]["asked"])
            number = update.effective_user.id - 1
            found = dialogue.answered(self.steps, nth, number, text, reading, at)
            if found is None:
                return nth
            (dialogue.keep if self.whole_log else keep_state)(context.user_data, *found)
            return nth + 1 if nth + 1 < len(self.steps) else ConversationHandler.END

        return answer


def keep_state(data, rows, changes):
    """Only the conversation; what was said last replaces what was said before."""
    dialogue.change(data, changes)
    data["outbound"] = [rows["outbound"]]


def update_of(place, number, text, at):
    user = User(number + 1, dialogue.NAME, is_bot=False)
    message = Message(place, at, Chat(number + 1, "private"), from_user=user, text=text)
    return Update(place, message=message)


async def main(steps, whole_log, writing):
    with tempfile.TemporaryDirectory() as folder:
        kept = PersistenceInput(bot_data=False, chat_data=False, callback_data=False)
        path = Path(folder) / "bot.pickle"
        store = Durable(path, store_data=kept, on_flush=True, update_interval=3600)
        app = (
            ApplicationBuilder().token(TOKEN).request(Offline()).get_updates_request(Offline())
            .persistence(store).updater(None).build()
        )  # fmt: skip
        app.add_handler(Bot(steps, whole_log).handler())
        await app.initialize()
        found = {"done": 0}
        await talk(app, store, steps, dialogue.writers(writing), found)
        found["bytes"] = path.stat().st_size
        check(app, steps, dialogue.writers(writing))
    measured.tell(**found)


async def talk(app, store, steps, numbers, found):
    for number in range(dialogue.CONVERSATIONS):
        at = datetime(2027, 2, 8, 15, tzinfo=UTC)
        await app.process_update(update_of(number + 1, number, "/begin", at))
    for step in steps:
        for number in numbers:
            found["done"] += 1
            place = dialogue.CONVERSATIONS + found["done"]
            update = update_of(place, number, step["text"], dialogue.instant(place))
            with measured.timed(found):
                await app.process_update(update)
                await app.update_persistence()
                await store.flush()


def check(app, steps, numbers):
    for number in numbers:
        said = app.user_data[number + 1]["outbound"][-1]["text"]
        if said != steps[-1]["says"]:
            raise RuntimeError(f"the peer ended with {said!r}")


if __name__ == "__main__":
    told = measured.given()
    asyncio.run(main(told["steps"], told["whole_log"], told["writing"]))
