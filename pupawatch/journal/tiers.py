"""Which of the daily copies are kept: many of the last days, fewer of the weeks and months before.

Counted by the copies that there are and not by the calendar, so a clock that jumps, or a winter without an entry, costs
none of them.
"""

import glob
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import date
from pathlib import Path

from pupawatch.journal import backup

DAILY, WEEKLY, MONTHLY = 12, 10, 9
"""How many copies of each tier are kept; today's and yesterday's are the first of the daily ones."""

_TIERS: tuple[tuple[int, Callable[[date], object]], ...] = (
    (DAILY, lambda day: day),
    (WEEKLY, lambda day: day.isocalendar()[:2]),
    (MONTHLY, lambda day: (day.year, day.month)),
)


def kept(days: Iterable[date]) -> set[date]:
    """The days whose copies are kept: the newest of each of the newest days, weeks and months."""
    newest_first = sorted(set(days), reverse=True)
    keep: set[date] = set()
    for most, period in _TIERS:
        newest: dict[object, date] = {}
        for day in newest_first:
            newest.setdefault(period(day), day)
        keep.update(list(newest.values())[:most])
    return keep


def prune(journal: Path) -> list[Path]:
    """Remove the daily copies that no tier keeps, and return them; copies of another name are not touched.

    To be called only after a new copy was written and read back: so a good one is always left.
    """
    copies = {
        day: path
        for path in backup.folder_of(journal).glob(f"{glob.escape(journal.stem)}-*")
        if (day := _day(path, journal))
    }
    going = [copies[day] for day in sorted(copies.keys() - kept(copies))]
    for path in going:
        with suppress(OSError):
            path.unlink()
    return going


def _day(path: Path, journal: Path) -> date | None:
    """The day of a daily copy; None where a file is something else."""
    try:
        day = date.fromisoformat(path.stem.removeprefix(f"{journal.stem}-"))
    except ValueError:
        return None
    return day if path == backup.dated(journal, day) and path.is_file() else None
