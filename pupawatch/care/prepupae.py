"""A hanging caterpillar: by when it is expected to pupate, and whether it should have done so long ago."""

from datetime import datetime, timedelta

from pupawatch.care.hang import set_hours
from pupawatch.model.entries import Hanging
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings


def expected_by(pupa: Pupa, settings: Settings) -> datetime | None:
    """By when it usually is a pupa: the species' longest time, counted from when it was first seen hanging, and longer
    where it is kept cold. None for one that is no hanging caterpillar."""
    return _after(pupa, 1.0, settings)


def overdue_from(pupa: Pupa, settings: Settings) -> datetime | None:
    """From when something is most likely wrong with it: ``prepupa.overdue_times`` the longest usual time."""
    return _after(pupa, settings.care.prepupa.overdue_times, settings)


def is_overdue(pupa: Pupa, now: datetime, settings: Settings) -> bool:
    """Whether it hangs for so long without pupating that it should be looked at."""
    since = overdue_from(pupa, settings)
    return since is not None and pupa.is_open and now >= since


def _after(pupa: Pupa, times: float, settings: Settings) -> datetime | None:
    if not pupa.is_prepupa:
        return None
    seen = next(entry.happened for entry in pupa.entries if isinstance(entry, Hanging))
    longer = settings.care.prepupa.cold_times if set_hours(pupa, settings).cold else 1.0
    hours = settings.profile(pupa.species).prepupa_hours_high
    return seen + timedelta(hours=times * longer * hours)
