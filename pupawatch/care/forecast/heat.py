"""Places that are, or will be, too hot or too cold for what hangs there, and the newest temperature that was recorded.

An afternoon's peak alone spoils no wings: what counts is the mean of a day, or many hours of great heat.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from math import acos, inf, pi
from typing import Literal, NamedTuple

from pupawatch.care.forecast.records import DayRange, Temperatures
from pupawatch.model.settings import Profile, TemperatureRules
from pupawatch.model.times import instant, local_day

DAY = timedelta(days=1)
_MOST_OF_A_DAY_S = 18 * 3600.0
_ONE_READING_S = 3600.0
"""So long a reading holds at most, in seconds, where none follows."""
_TOGETHER = timedelta(hours=3)
"""Temperatures recorded so near to the newest one are as new as that."""


class Warned(NamedTuple):
    """That a place is too hot, too cold, or shows what no shaded thermometer does (``sun``).

    how: as a day's ``mean``, by its ``peak``, or at its ``lowest``. celsius: how warm; limit_c: from where on it
    harms; hours: of a peak, for how long; has_been: in the last day, and not only expected by tomorrow.
    """

    kind: Literal["hot", "cold", "sun"]
    how: Literal["mean", "peak", "lowest"]
    celsius: float
    limit_c: float
    hours: float
    has_been: bool


class _Day(NamedTuple):
    """What is known of one day: its mean, highest and lowest in °C; hours: how long it was at or above a limit."""

    mean_c: float
    high_c: float
    low_c: float
    hours: float
    has_been: bool


def warmest_day_mean_c(known: Temperatures, now: datetime, zone: str) -> float | None:
    """The highest mean of a day, in °C, of the last 24 hours, yesterday, today and tomorrow, as far as they were
    measured or are expected; None where nothing is known of them.

    Where only the lowest and the highest of a day are known, their middle stands for its mean.
    """
    known = known._replace(constant_c=None)
    return max((day.mean_c for day in _days(known, now, zone, 0.0, inf)), default=None)


def warned(
    known: Temperatures, now: datetime, zone: str, profiles: Sequence[Profile], rules: TemperatureRules
) -> Iterator[Warned]:
    """What is to be told of a place's warmth where pupae of these species hang: of the last day, today and tomorrow."""
    limit = min(profile.heat.heat_warning_c for profile in profiles)
    shown = _highest(known, now, zone)
    if shown is not None and shown >= rules.sensor_in_sun_c:
        yield Warned("sun", "peak", shown, rules.sensor_in_sun_c, 0.0, True)
    days = list(_days(known, now, zone, limit + rules.peak_above_c, rules.sensor_in_sun_c))
    by_mean = max(days, key=lambda day: day.mean_c, default=None)
    by_peak = max(days, key=lambda day: day.hours, default=None)
    if by_mean is not None and by_mean.mean_c >= limit:
        yield Warned("hot", "mean", by_mean.mean_c, limit, 24.0, by_mean.has_been)
    elif by_peak is not None and by_peak.hours > rules.peak_hours:
        yield Warned("hot", "peak", by_peak.high_c, limit + rules.peak_above_c, by_peak.hours, by_peak.has_been)
    coldest = min(days, key=lambda day: day.low_c, default=None)
    tender = any(not profile.overwinters for profile in profiles)
    if tender and coldest is not None and coldest.low_c <= rules.cold_warning_c:
        yield Warned("cold", "lowest", coldest.low_c, rules.cold_warning_c, 0.0, coldest.has_been)


def _days(known: Temperatures, now: datetime, zone: str, limit_c: float, ceiling_c: float) -> Iterator[_Day]:
    """The last 24 hours as they were read, yesterday and today as they were recorded, today and tomorrow as they are
    expected; a place held constant has one such day. What is ``ceiling_c`` or more is no temperature of the air."""
    today = local_day(now, zone)
    since = bisect_left(known.at_seconds, (now - DAY).timestamp())
    until = bisect_right(known.at_seconds, now.timestamp())
    at = [float(second) for second in known.at_seconds[since:until]]
    read = [(second, float(c)) for second, c in zip(at, known.celsius[since:until], strict=True) if c < ceiling_c]
    if read:
        yield _read_day(read, now.timestamp(), limit_c)
    written = _between(known.days, today - DAY, today)
    if known.constant_c is not None and not read and not written:
        written = [DayRange(today, known.constant_c, known.constant_c)]
    expected = _between(known.expected, today, today + DAY)
    for days, has_been in ((written, True), (expected, False)):
        for day in days:
            if day.high_c < ceiling_c:
                mean = (day.low_c + day.high_c) / 2
                yield _Day(mean, day.high_c, day.low_c, _hours_above(day, limit_c), has_been)


def _read_day(read: Sequence[tuple[float, float]], now: float, limit_c: float) -> _Day:
    """The last 24 hours of a logger: its readings as POSIX seconds and °C. Where they begin late, no mean is claimed
    beyond the lowest of them."""
    celsius = [c for _, c in read]
    lasted = [min(then - second, _ONE_READING_S) for (second, _), (then, _) in pairwise([*read, (now, 0.0)])]
    above = sum(seconds for c, seconds in zip(celsius, lasted, strict=True) if c >= limit_c)
    whole = now - read[0][0] >= _MOST_OF_A_DAY_S
    mean = sum(celsius) / len(celsius) if whole else min(celsius)
    return _Day(mean, max(celsius), min(celsius), above / 3600.0, True)


def _between(days: Sequence[DayRange], first: date, last: date) -> list[DayRange]:
    return [told for told in days if first <= told.day <= last]


def _hours_above(day: DayRange, limit_c: float) -> float:
    """For how many hours of a day that goes up and down as a sine it is at or above a limit (single sine; Baskerville &
    Emin 1969, Ecology 50:514-517)."""
    if day.low_c >= limit_c:
        return 24.0
    if day.high_c <= limit_c:
        return 0.0
    middle, swing = (day.high_c + day.low_c) / 2, (day.high_c - day.low_c) / 2
    return 24.0 / pi * acos((limit_c - middle) / swing)


def _highest(known: Temperatures, now: datetime, zone: str) -> float | None:
    """The highest that was read or recorded within the last day."""
    today = local_day(now, zone)
    since = bisect_left(known.at_seconds, (now - DAY).timestamp())
    read = [float(c) for c in known.celsius[since : bisect_right(known.at_seconds, now.timestamp())]]
    return max([*read, *(day.high_c for day in _between(known.days, today - DAY, today))], default=None)


class Newest(NamedTuple):
    """The newest temperature that was recorded, in °C, and where."""

    celsius: float
    place: str


def newest(temperatures: Mapping[str, Temperatures], now: datetime, zone: str) -> Newest | None:
    """The newest temperature of the last day: a reading, or the highest of today. Of those that are equally new, the
    lowest: a butterfly is let go where it is coldest, outdoors. None where nothing was recorded today."""
    today = local_day(now, zone)
    found: list[tuple[datetime, Newest]] = []
    for place, known in temperatures.items():
        last = bisect_right(known.at_seconds, now.timestamp()) - 1
        if last >= 0 and now.timestamp() - float(known.at_seconds[last]) <= DAY.total_seconds():
            at = instant(float(known.at_seconds[last])).astimezone(now.tzinfo)
            found.append((at, Newest(float(known.celsius[last]), place)))
        found += [(now, Newest(day.high_c, place)) for day in _between(known.days, today, today)]
    if not found:
        return None
    latest = max(at for at, _ in found)
    return min(told for at, told in found if latest - at <= _TOGETHER)
