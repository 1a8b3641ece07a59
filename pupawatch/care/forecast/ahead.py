"""The days ahead: how many adults each day may bring, and the last good day to move a pupa."""

from collections.abc import Sequence
from datetime import date, timedelta
from math import sqrt
from typing import NamedTuple

from pupawatch.care.forecast.records import Outlook
from pupawatch.model.settings import Profile
from pupawatch.model.times import local_day


class Expected(NamedTuple):
    """How many pupae emerge that day: on average, and between which numbers with a chance of four in five at least."""

    day: date
    mean: float
    low: int
    high: int


def expected_by_day(outlooks: Sequence[Outlook], alive: Sequence[float], today: date, days: int = 14) -> list[Expected]:
    """The number of emergences on each of the coming days, today first. alive: for each outlook the chance that the
    pupa lives.

    The pupae are taken as independent, so the number is Poisson-binomial; its distribution is worked out exactly, by
    adding one pupa after the other (Hong 2013, Comput. Stat. Data Anal. 59:41-51; from memory).
    """
    import numpy as np

    chances = np.zeros((len(outlooks), days))
    for n, (outlook, lives) in enumerate(zip(outlooks, alive, strict=True)):
        for day, p in outlook.by_day:
            if 0 <= (day - today).days < days:
                chances[n, (day - today).days] = lives * p
    counts = np.zeros((days, len(outlooks) + 1))
    counts[:, 0] = 1
    for n, chance in enumerate(chances[:, :, None]):
        counts[:, 1 : n + 2] = counts[:, 1 : n + 2] * (1 - chance) + counts[:, : n + 1] * chance
        counts[:, :1] *= 1 - chance
    summed = counts.cumsum(axis=1)
    # A count is within the interval unless it lies wholly in the lowest or the highest tenth.
    low, high = (summed < 0.1 - 1e-12).sum(axis=1), (summed < 0.9 - 1e-12).sum(axis=1)
    return [
        Expected(today + timedelta(days=n), float(chances[:, n].sum()), int(low[n]), int(high[n])) for n in range(days)
    ]


def last_good_day_to_move(outlook: Outlook, profile: Profile, zone: str) -> date | None:
    """The last local day on which it has most likely not begun to darken; None without a date, or when that is past.

    Counted back from the early end of the outlook (one in ten is out by then) by the usual time of darkening, the
    geometric middle of the profile's hours. Reasoned; common practice.
    """
    if outlook.low is None or not outlook.by_day:
        return None
    dark = sqrt(profile.darkening_hours_low * profile.darkening_hours_high)
    last = local_day(outlook.low - timedelta(hours=dark), zone)
    return last if last >= outlook.by_day[0][0] else None
