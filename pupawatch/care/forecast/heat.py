"""Places that are, or will be, hot enough to spoil wings."""

from bisect import bisect_left, bisect_right
from datetime import datetime, timedelta
from typing import NamedTuple

from pupawatch.care.forecast.records import Temperatures
from pupawatch.model.settings import Profile
from pupawatch.model.times import local_day

DAY = timedelta(days=1)


_MOST_OF_A_DAY = timedelta(hours=18)


def warmest_day_mean_c(known: Temperatures, now: datetime, zone: str) -> float | None:
    """The highest mean of a day, in °C, of the last 24 hours, yesterday, today and tomorrow, as far as they were
    measured or are expected; None where nothing is known of them.

    Where only the lowest and the highest of a day are known, their middle stands for its mean.
    """
    today = local_day(now, zone)
    since = bisect_left(known.at_seconds, (now - DAY).timestamp())
    until = bisect_right(known.at_seconds, now.timestamp())
    means = []
    if until > since and now.timestamp() - known.at_seconds[since] >= _MOST_OF_A_DAY.total_seconds():
        means.append(sum(float(celsius) for celsius in known.celsius[since:until]) / (until - since))
    told = [day for day in known.days if today - DAY <= day.day <= today]
    told += [day for day in known.expected if today <= day.day <= today + DAY]
    return max([*means, *((day.low_c + day.high_c) / 2 for day in told)], default=None)


class TooHot(NamedTuple):
    """So hot a place was in the last day (``has_been``), or will be by tomorrow; limit_c: what spoils wings."""

    hottest_c: float
    limit_c: float
    has_been: bool


def too_hot(known: Temperatures, now: datetime, zone: str, profile: Profile) -> TooHot | None:
    """How hot a place is where the last day was, or today or tomorrow will be, hot enough to spoil wings; else None."""
    limit, today = profile.heat.heat_warning_c, local_day(now, zone)
    since = bisect_left(known.at_seconds, (now - DAY).timestamp())
    read = [float(c) for c in known.celsius[since : bisect_right(known.at_seconds, now.timestamp())]]
    was = read + [told.high_c for told in known.days if today - DAY <= told.day <= today]
    will = [told.high_c for told in known.expected if today <= told.day <= today + DAY]
    if known.constant_c is not None and not was:
        was = [known.constant_c]
    hottest = max([*was, *will], default=None)
    return None if hottest is None or hottest < limit else TooHot(hottest, limit, hottest in was)
