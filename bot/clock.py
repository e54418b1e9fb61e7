"""The present: the one place that asks the machine what time it is."""

from datetime import UTC, datetime


def system_clock() -> datetime:
    """The present instant, aware, in UTC."""
    return datetime.now(UTC)
