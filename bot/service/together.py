"""Messages that arrive together share one commit: flushing it is most of what a reply costs."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bot.channels.base import Incoming

MOST = 50  # messages to one commit: more only make the first of them wait longer
TakeIn = Callable[[Sequence[Incoming]], Sequence[Exception | None]]


@dataclass(slots=True, eq=False)
class _Waiting:
    """One message, and what became of it."""

    incoming: Incoming
    done: bool = False
    failed: BaseException | None = None


class Together:
    """Joins what several threads hand in at the same time.

    Whoever comes while nobody works takes in all that waits, their own among it; those who waited
    find theirs done. Nobody waits for company: a message that comes alone is handled alone.
    """

    def __init__(self) -> None:
        self._waiting: list[_Waiting] = []
        self._lists = threading.Lock()
        self._work = threading.Lock()

    def hand_in(self, incoming: Incoming, take_in: TakeIn) -> None:
        """Return when the message is committed; raise what kept it from that."""
        mine = _Waiting(incoming)
        with self._lists:
            self._waiting.append(mine)
        with self._work:
            while not mine.done:
                self._take_next(take_in)
        if mine.failed is not None:
            raise mine.failed

    def _take_next(self, take_in: TakeIn) -> None:
        with self._lists:
            batch, self._waiting = self._waiting[:MOST], self._waiting[MOST:]
        try:
            found: Sequence[BaseException | None] = take_in([one.incoming for one in batch])
        except BaseException as error:  # nothing was kept: every sender must hear of it
            found = [error] * len(batch)
        for one, failed in zip(batch, found, strict=True):
            one.failed, one.done = failed, True
