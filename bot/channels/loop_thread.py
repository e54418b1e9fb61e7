"""One asyncio event loop in a thread of its own, for adapters whose library is asynchronous."""

import asyncio
import threading
from collections.abc import Callable, Coroutine
from concurrent.futures import Future
from typing import Any, TypeVar

T = TypeVar("T")


class LoopThread:
    """Runs coroutines for callers in other threads."""

    def __init__(self, name: str) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name=name, daemon=True)
        self._thread.start()

    def run(self, work: Coroutine[Any, Any, T], seconds: float | None = None) -> T:
        """Blocks until `work` is done and returns its value. Raises TimeoutError after `seconds`.

        At the limit the work is cancelled, so that it does not go on behind the caller's back.
        """
        future = self.begin(work)
        try:
            return future.result(seconds)
        except TimeoutError:
            future.cancel()
            raise

    def begin(self, work: Coroutine[Any, Any, T]) -> "Future[T]":
        """Starts `work` and returns at once."""
        return asyncio.run_coroutine_threadsafe(work, self._loop)

    @property
    def closed(self) -> bool:
        """True after `close`."""
        return self._loop.is_closed()

    def close(self) -> None:
        """Cancels what still runs, ends the loop and waits for the thread."""
        if self.closed:
            return
        self.run(_cancel_others(), 15)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._loop.close()


async def _cancel_others() -> None:
    """Cancels every other task, more than once: libraries were seen to swallow a cancellation."""
    for _attempt in range(20):
        others = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        if not others:
            return
        for task in others:
            task.cancel()
        await asyncio.wait(others, timeout=0.5)


async def in_thread(work: Callable[[], None]) -> None:
    """Runs a blocking callback (it commits to the database) without holding up the loop."""
    await asyncio.to_thread(work)
