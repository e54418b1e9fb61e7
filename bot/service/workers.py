"""Signs of life: each process says every few seconds that it is there; who falls silent is dead.

What a dead worker had in hand is taken up by another, and `countdown doctor` and the health check
say which roles nobody holds.
"""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from sqlalchemy import Engine

from bot.store import workers
from bot.store.engine import need_not_last, reading, writing
from bot.store.workers import Worker

BEAT = timedelta(seconds=2)  # our choice
SILENT_FOR = timedelta(seconds=10)  # five signs missed: dead, or out of reach, which is the same
KEEP = timedelta(days=1)  # how long a dead worker stays written down, for whoever looks


def begin(engine: Engine, host: str, process: int, roles: Iterable[str], now: datetime) -> int:
    """Write a process down; return its id."""
    with writing(engine) as connection:
        workers.forget(connection, workers.moment(connection, now) - KEEP)
        return workers.add(connection, host, process, roles, now)


def beat(engine: Engine, worker: int, now: datetime) -> bool:
    """Give a sign of life; False when the worker was silent for so long that it is forgotten."""
    with writing(engine) as connection:
        need_not_last(connection)
        return workers.beat(connection, worker, now)


def end(engine: Engine, worker: int) -> None:
    """The process ends in order: what it may still have in hand is free at once."""
    with writing(engine) as connection:
        workers.remove(connection, worker)


def bury(engine: Engine, host: str, running: Callable[[int], bool]) -> int:
    """Take those of this host off the list whose process is gone; return how many.

    So the work of one that was killed is taken up without waiting for its silence.
    """
    with reading(engine) as connection:
        own = [each for each in workers.workers(connection) if each.host == host]
    dead = [each.id for each in own if not running(each.process)]
    for worker in dead:
        end(engine, worker)
    return len(dead)


def alive(engine: Engine, now: datetime) -> list[Worker]:
    """The workers that gave a sign of life lately."""
    with reading(engine) as connection:
        since = workers.moment(connection, now) - SILENT_FOR
        return [
            each for each in workers.workers(connection) if each.beat_at and each.beat_at > since
        ]
