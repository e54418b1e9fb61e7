"""One thing at a time in a tick: what fails with one is told and put off, and the others go on."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta

from sqlalchemy import Connection

from bot.service.practice import Practice
from bot.store.engine import writing

AGAIN = timedelta(minutes=5)  # what failed is tried again then, and stops nobody else (our choice)


@contextmanager
def apart(
    practice: Practice, what: str, put_off: Callable[[Connection], None], failed: list[str]
) -> Iterator[None]:
    """Let what fails be told and put off, so that the others go on.

    `what` names it in `failed` and so in a log: without a name, a number or words.
    """
    try:
        yield
    except Exception as error:
        failed.append(f"{what}: {type(error).__name__}: {error}")
        with writing(practice.engine) as connection:
            put_off(connection)
