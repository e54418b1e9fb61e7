"""Due jobs of procrastinate on PostgreSQL, with a backlog of jobs for later in the same queue."""

import asyncio
import logging
from datetime import UTC, datetime

import due
import measured
import psycopg
from procrastinate import App, PsycopgConnector

FUTURE = datetime(2099, 1, 1, tzinfo=UTC)
BATCH = 1_000


async def main(url, server, concurrency, with_message):
    app = App(connector=PsycopgConnector(conninfo=url))
    found = {}
    async with app.open_async(), await psycopg.AsyncConnection.connect(url, autocommit=True) as own:
        await app.schema_manager.apply_schema_async()
        await own.execute(f"CREATE TABLE sent ({due.COLUMNS})")
        task = app.task(name="deliver", queue="prompts")(delivery(own, with_message))
        await put_in(task)
        await own.execute("ANALYZE")
        with measured.timed(found, lambda: measured.seconds_of_processes(server)):
            await app.run_worker_async(
                wait=False, concurrency=concurrency, install_signal_handlers=False
            )
        found["done"] = await counted(own, "procrastinate_jobs WHERE status = 'succeeded'")
        found["stored"] = await counted(own, "sent")
    if found["done"] != due.DUE:
        raise RuntimeError(f"{found['done']} jobs succeeded")
    measured.tell(**found)


def delivery(own, with_message):
    async def deliver(number):
        """One due prompt: its message is worded, sent, and stored as sent in one commit."""
        if with_message:
            row = due.sent_message(number)
            await own.execute(f"INSERT INTO sent VALUES ({','.join(['%s'] * len(row))})", row)

    return deliver


async def put_in(task):
    later = task.configure(schedule_at=FUTURE)
    for first in range(0, due.BACKLOG, BATCH):
        many = [{"number": number} for number in range(first, min(first + BATCH, due.BACKLOG))]
        await later.batch_defer_async(*many)
    await task.batch_defer_async(*({"number": number} for number in range(due.DUE)))


async def counted(connection, what):
    cursor = await connection.execute(f"SELECT count(*) FROM {what}")
    return (await cursor.fetchone())[0]


if __name__ == "__main__":
    logging.getLogger("procrastinate").setLevel(logging.ERROR)  # it warns of being no module
    told = measured.given()
    asyncio.run(main(told["url"], told["server"], told["concurrency"], told["with_message"]))
