"""The same dialogue on aiogram's FSM with Redis storage, every write flushed to the disk."""

import asyncio
import json
import tempfile

import dialogue
import measured
import reader
import redis_server
from aiogram import Bot, Dispatcher
from aiogram.filters import StateFilter
from aiogram.fsm.storage.base import StorageKey
from aiogram.fsm.storage.redis import RedisStorage
from aiogram.types import Chat, Message, Update, User

TOKEN = "1000000001:not-a-real-token"


class Talk:
    """A handler for each question. The conversation is in the FSM, its log in lists beside it."""

    def __init__(self, steps, redis):
        self.steps, self.redis, self.read = steps, redis, reader.make_reader()

    def register(self, dispatcher):
        for nth in range(len(self.steps)):
            dispatcher.message.register(self.answer_to(nth), StateFilter(f"question-{nth}"))

    def answer_to(self, nth):
        async def answer(message, state):
            number, at = message.from_user.id - 1, message.date.isoformat()
            reading = self.read(message.text, self.steps[nth]["asked"])
            found = dialogue.answered(self.steps, nth, number, message.text, reading, at)
            if found is None:
                return
            rows, changes = found
            data = await state.get_data()
            dialogue.change(data, changes)
            await state.set_data(data)
            async with self.redis.pipeline(transaction=True) as together:
                for table, row in rows.items():
                    together.rpush(f"{table}:{number}", json.dumps(row))
                await together.execute()
            await state.set_state(f"question-{nth + 1}" if nth + 1 < len(self.steps) else None)

        return answer


def update_of(place, number, text, at):
    user = User(id=number + 1, is_bot=False, first_name=dialogue.NAME)
    chat = Chat(id=number + 1, type="private")
    message = Message(message_id=place, date=at, chat=chat, from_user=user, text=text)
    return Update(update_id=place, message=message)


async def begin(storage, bot, steps):
    """Every conversation with its first question open, and its first message in the log."""
    for number in range(dialogue.CONVERSATIONS):
        data = dialogue.fresh(number, steps)
        (greeting,) = data.pop("outbound")
        key = StorageKey(bot.id, number + 1, number + 1)
        async with storage.redis.pipeline() as together:
            together.rpush(f"outbound:{number}", json.dumps(greeting))
            await together.execute()
        await storage.set_data(key, data)
        await storage.set_state(key, "question-0")


async def main(steps, together, writing):
    found = {"done": 0}
    with tempfile.TemporaryDirectory() as folder, redis_server.running(folder) as (path, used):
        storage = RedisStorage.from_url(f"unix://{path}")
        bot, dispatcher = Bot(TOKEN), Dispatcher(storage=storage)
        Talk(steps, storage.redis).register(dispatcher)
        await begin(storage, bot, steps)
        numbers = dialogue.writers(writing)
        for step in steps:
            for start in range(0, len(numbers), together):
                chosen = numbers[start : start + together]
                await answer(dispatcher, bot, chosen, step["text"], found, used)
        await check(storage, steps, numbers)
        await storage.close()
    measured.tell(**found)


async def answer(dispatcher, bot, numbers, text, found, used):
    updates = []
    for number in numbers:
        found["done"] += 1
        place = dialogue.CONVERSATIONS + found["done"]
        updates.append(update_of(place, number, text, dialogue.instant(place)))
    with measured.timed(found, used):
        await asyncio.gather(*(dispatcher.feed_update(bot, update) for update in updates))


async def check(storage, steps, numbers):
    for number in numbers:
        said = json.loads(await storage.redis.lindex(f"outbound:{number}", -1))["text"]
        if said != steps[-1]["says"]:
            raise RuntimeError(f"the peer ended with {said!r}")


if __name__ == "__main__":
    told = measured.given()
    asyncio.run(main(told["steps"], told["together"], told["writing"]))
