"""What only one process may do at a time: a lock of the database that falls free when it dies."""

from contextlib import suppress

from sqlalchemy import Connection, Engine, func, select
from sqlalchemy.exc import DBAPIError

POLLING = 0xC0DE_0002  # a messenger gives its updates to one asker at a time


class Lease:
    """One process's claim to a task, kept by a connection of its own.

    On SQLite, which serves one process, it is always held.
    """

    def __init__(self, engine: Engine, task: int) -> None:
        self._engine = engine
        self._task = task
        self._connection: Connection | None = None
        self._mine = False

    def held(self) -> bool:
        """Take the task if it is free; say whether it is ours. Ask again before each step of it."""
        if self._engine.dialect.name == "sqlite":
            return True
        try:
            return self._try()
        except DBAPIError:
            self._mine = False  # the lock went with the connection
            self.give_back()
            return False

    def _try(self) -> bool:
        if self._connection is None:
            opened = self._engine.connect()
            self._connection = opened.execution_options(isolation_level="AUTOCOMMIT")
        if self._mine:
            self._connection.exec_driver_sql("SELECT 1")
        else:
            query = select(func.pg_try_advisory_lock(self._task))
            self._mine = bool(self._connection.execute(query).scalar())
        return self._mine

    def give_back(self) -> None:
        """Leave the task to whoever asks next: free when this returns."""
        if self._connection is not None:
            if self._mine:
                with suppress(DBAPIError):  # a connection lost meanwhile has lost the lock too
                    self._connection.execute(select(func.pg_advisory_unlock(self._task)))
            self._connection.invalidate()
            self._connection.close()
            self._connection = None
        self._mine = False
