"""The only place where the time of day is read."""

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]
"""Gives the present instant in UTC."""


def system_clock() -> datetime:
    """The machine's clock, in UTC."""
    return datetime.now(UTC)


def clock_set_to(start: datetime) -> Clock:
    """A clock that shows ``start`` now and runs on from there: for the demo and for tests."""
    ahead_by = start - system_clock()
    return lambda: system_clock() + ahead_by
