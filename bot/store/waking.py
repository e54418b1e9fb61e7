"""Hears on PostgreSQL what the triggers of migration 0009 call out when something becomes due.

A call is heard when the transaction that made something due is committed, and never before. Who is
not listening at that moment finds the same rows by looking, which every loop does anyway.
"""

from collections.abc import Iterator

from sqlalchemy import Engine

_CHANNEL = "countdown"


def hears(engine: Engine) -> bool:
    """True when this database can call."""
    return engine.dialect.name == "postgresql"


def calls(engine: Engine, patience: float) -> Iterator[str]:
    """Whom each call wakes ("relay", "scheduler"); "" when `patience` seconds brought none.

    Keeps one connection for as long as it is iterated. Raises what the driver raises when that
    connection is lost.
    """
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql(f"LISTEN {_CHANNEL}")
        driver = connection.connection.driver_connection
        if driver is None:
            return
        try:
            while True:
                heard = {call.payload for call in driver.notifies(timeout=patience, stop_after=1)}
                yield from heard or {""}
        finally:
            connection.invalidate()  # else the pool would hand a listening connection on
