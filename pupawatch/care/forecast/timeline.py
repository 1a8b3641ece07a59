"""Hour by hour: the temperatures of one place from the past into the days to come, with what is not known.

Instants are POSIX hours here (seconds / 3600), so that they can be reckoned with in arrays.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pupawatch.care.forecast.records import DayRange, Temperatures
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.times import start_of_day

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LONGEST_GAP_HOURS = 2.0
"""Readings further apart than this leave a gap. Common practice, no source."""

# How the days to come may differ from those just past. None has a published source: they describe weather in
# general, at a home, and are wide on purpose.
PATTERN_DAYS = 14
"""The daily pattern is that of so many days just past."""
SPREAD_DAYS = 28
"""The day-to-day spread is that of so many days just past."""
UNKNOWN_SPREAD_C = 2.5
"""Day-to-day standard deviation where too few days are known to tell."""
LEAST_SPREAD_C = 0.3
"""No room is steadier than this from day to day."""
WEATHER_LASTS_DAYS = 3.0
"""A warm or cool spell lasts about so long."""
SEASON_SHARE, WARMEST_AFTER_DAYS = 3.0, 28
"""Between the year's mean and its warmest time lies this multiple of the day-to-day spread, at 45° of latitude; the
warmest time comes so long after the longest day. A heated room has little of both."""
LONGEST_DAY = 172
"""Of the year, in the north (21 June)."""
SEASON_DRIFT_SHARE = 0.04
"""Beside that, the mean drifts by this share of the day-to-day spread every day, one way or the other."""
EXPECTED_ERROR_C, EXPECTED_ERROR_C_A_DAY = 1.0, 0.2
"""Standard error of an expected day's temperature, at once and for each day ahead."""
FILLED_ERROR_C = 1.5
"""Standard error of a gap filled from a neighbouring day; half of it where the keeper wrote minimum and maximum."""
WATCHED_DAYS = 3
"""A logger that is silent for longer was not there any more; then what else is known of the place holds. No source."""
MOST_OF_A_DAY_HOURS = 18
"""Readings that span so many hours show a day's minimum and maximum."""


class Timeline(NamedTuple):
    """One place, hour by hour from ``first_hour`` on.

    celsius: the temperature at the middle of each hour. error_c: its standard error, all hours erring together.
    logged: the hours whose development is taken from the readings themselves. filled: hours of the past that nothing
    measured. at_hours, readings_c: the readings.
    """

    first_hour: int
    celsius: Array
    error_c: Array
    logged: Mask
    filled: Mask
    at_hours: Array
    readings_c: Array


class _Days(NamedTuple):
    """The local days of a span of hours: which day each hour's middle falls on, and at which hour of it (0 to 24)."""

    dates: list[date]
    on: NDArray[np.intp]
    clock: Array


def hours_of(moment: datetime) -> float:
    """An instant as POSIX hours."""
    return moment.timestamp() / 3600


def moment_of(hours: float) -> datetime:
    """POSIX hours as a UTC instant, to the second."""
    return datetime.fromtimestamp(round(float(hours) * 3600), UTC)


def build(known: Temperatures, sky: Sky, first_hour: int, now: float, hours: int) -> Timeline:
    """The timeline of one place: ``hours`` hours from ``first_hour``, of which those before ``now`` are past.

    Readings after ``now`` are not looked at. The past is taken from the readings; where these leave a gap, from the
    sine of that day's minimum and maximum; then from the constant; the future from the expected days, else from the
    pattern of the days just past and the course of the year.
    """
    at = np.asarray(known.at_seconds, dtype=np.float64) / 3600
    readings = np.asarray(known.celsius, dtype=np.float64)
    told = int(np.searchsorted(at, now, side="right"))
    at, readings = at[:told], readings[:told]
    middles: Array = first_hour + np.arange(hours, dtype=np.float64) + 0.5
    # A logger that spoke within the longest gap is up to date: what it has not told yet is not past, but ahead.
    up_to = at[-1] if len(at) and now - at[-1] <= LONGEST_GAP_HOURS else now
    past = int(np.clip(np.floor(up_to - first_hour), 0, hours))
    days = _local_days(middles, sky.zone)
    logged = _covered(at, first_hour, hours)
    logged[past:] = False
    celsius = np.full(hours, np.nan)
    if logged.any():
        celsius[logged] = np.interp(middles[logged], at, readings)
    written = _on_days(known.days, days.dates)
    by_hand = ~np.isnan(written[0])[days.on]
    gaps = ~logged
    gaps[past:] = False
    watched = _watched(at - first_hour, days)
    ranges = _day_ranges(at - first_hour, readings, days, written, known.constant_c, watched)
    celsius[gaps] = _sine(*ranges, days)[gaps]
    # Where a logger hung and kept silent even a day written down is only its sine.
    measured = logged | (by_hand & ~watched[days.on])
    filled = gaps & ~measured & (watched[days.on] | (known.constant_c is None))
    error = np.zeros(hours)
    error[gaps & ~measured] = LEAST_SPREAD_C
    error[filled] = np.where(by_hand, FILLED_ERROR_C / 2, FILLED_ERROR_C)[filled]
    _look_ahead(celsius, error, days, past, np.flatnonzero(~filled[:past]), sky)
    _expect(celsius, error, known.expected, days, past, filled)
    return Timeline(first_hour, celsius, error, logged, filled, at, readings)


def _local_days(middles: Array, zone: str) -> _Days:
    first = moment_of(middles[0]).date() - timedelta(days=1)
    count = int((middles[-1] - middles[0]) // 24) + 4
    dates = [first + timedelta(days=n) for n in range(count)]
    starts = np.array([hours_of(start_of_day(day, zone)) for day in dates])
    index = np.searchsorted(starts, middles, side="right") - 1
    lengths = np.diff(starts, append=starts[-1] + 24)
    return _Days(dates, index, (middles - starts[index]) * 24 / lengths[index])


def _covered(at: Array, first_hour: int, hours: int) -> Mask:
    """Which hours lie wholly between readings that are no further apart than LONGEST_GAP_HOURS."""
    if len(at) < 2:
        return np.zeros(hours, dtype=bool)
    wide = np.flatnonzero(np.diff(at) > LONGEST_GAP_HOURS)
    begins = np.concatenate(([-np.inf], at[wide], at[-1:])) - first_hour
    ends = np.concatenate((at[:1], at[wide + 1], [np.inf])) - first_hour
    edges = np.zeros(hours + 1)
    np.add.at(edges, np.clip(np.floor(begins + 1e-9), 0, hours).astype(int), 1)
    np.add.at(edges, np.clip(np.ceil(ends - 1e-9), 0, hours).astype(int), -1)
    return np.asarray(np.cumsum(edges[:-1]) <= 0)


def _watched(place: Array, days: _Days) -> Mask:
    """The days on which a logger hung there: it spoke, or had spoken or was to speak within WATCHED_DAYS."""
    inside = (place >= 0) & (place < len(days.on))
    spoke = np.zeros(len(days.dates))
    spoke[days.on[place[inside].astype(int)]] = 1
    return np.asarray(np.convolve(spoke, np.ones(2 * WATCHED_DAYS + 1), mode="same")[: len(spoke)] > 0)


def _on_days(ranges: Sequence[DayRange], dates: list[date]) -> tuple[Array, Array]:
    low, high = np.full(len(dates), np.nan), np.full(len(dates), np.nan)
    for told in ranges:
        n = (told.day - dates[0]).days
        if 0 <= n < len(dates):
            low[n], high[n] = min(told.low_c, told.high_c), max(told.low_c, told.high_c)
    return low, high


def _day_ranges(
    place: Array, readings: Array, days: _Days, written: tuple[Array, Array], constant_c: float | None, watched: Mask
) -> tuple[Array, Array]:
    """Minimum and maximum of every day: written down, else read over most of the day, else the constant where no logger
    hung, else the neighbours'.

    place: hours from the first hour to each reading; watched: the days on which a logger hung there.
    """
    low, high = written[0].copy(), written[1].copy()
    inside = (place >= 0) & (place < len(days.on))
    hour, on = place[inside], days.on[place[inside].astype(int)]
    ends = np.full((4, len(days.dates)), np.nan)  # coldest, warmest, first and last reading of the day
    for row, values in ((0, readings[inside]), (2, hour)):
        np.fmin.at(ends[row], on, values)
        np.fmax.at(ends[row + 1], on, values)
    enough = np.isnan(low) & (ends[3] - ends[2] >= MOST_OF_A_DAY_HOURS)
    low[enough], high[enough] = ends[0][enough], ends[1][enough]
    if constant_c is not None:
        kept = np.isnan(low) & ~watched
        low[kept] = high[kept] = constant_c
    known = np.flatnonzero(~np.isnan(low))
    if len(known):
        every = np.arange(len(low))
        return np.interp(every, known, low[known]), np.interp(every, known, high[known])
    if len(readings):
        return np.full_like(low, readings.min()), np.full_like(high, readings.max())
    return low, high


def _sine(low: Array, high: Array, days: _Days) -> Array:
    """The temperature at each hour's middle: coldest three hours after midnight, warmest three after noon."""
    mean, swing = (low + high) / 2, (high - low) / 2
    return np.asarray(mean[days.on] - swing[days.on] * np.cos(2 * np.pi * (days.clock - 3) / 24))


def _look_ahead(celsius: Array, error: Array, days: _Days, past: int, known: NDArray[np.intp], sky: Sky) -> None:
    """Fill in the hours to come, in place: the daily pattern of the days last known, and how far it may err."""
    recent = known[-24 * PATTERN_DAYS :]
    if len(np.unique(days.clock[recent].astype(int))) < 24:
        recent = np.arange(max(0, past - 24 * PATTERN_DAYS), past)
    clock = days.clock.astype(int)
    counts = np.bincount(clock[recent], minlength=24)
    pattern = np.bincount(clock[recent], celsius[recent], minlength=24) / np.maximum(counts, 1)
    spread = _day_to_day(celsius, known)
    season = spread * _season(days, sky)
    celsius[past:] = pattern[clock[past:]] + season[past:] - season[recent].mean()
    # Days that nothing measured are as uncertain as days to come, so the error grows from the last one known.
    last_known = int(known[-1]) if len(known) else 0
    ahead = np.maximum(np.arange(past, len(celsius)) - last_known, 0.5) / 24
    error[past:] = _error_ahead(ahead, spread, min(len(known) / 24, PATTERN_DAYS))


def _season(days: _Days, sky: Sky) -> Array:
    """The course of the year in day-to-day spreads, hour by hour; flat on the equator and where no place is told."""
    to_the_north = 0.0 if sky.latitude is None else np.clip(sky.latitude / 45, -1, 1)
    since_warmest = np.array([day.timetuple().tm_yday for day in days.dates]) - (LONGEST_DAY + WARMEST_AFTER_DAYS)
    return np.asarray(SEASON_SHARE * to_the_north * np.cos(2 * np.pi * since_warmest / 365.25)[days.on])


def _expect(celsius: Array, error: Array, expected: Sequence[DayRange], days: _Days, past: int, filled: Mask) -> None:
    """Put the expected days in the stead of the hours to come, and of hours past that nothing measured."""
    low, high = _on_days(expected, days.dates)
    told = ~np.isnan(low)[days.on]
    told[:past] &= filled[:past]
    celsius[told] = _sine(low, high, days)[told]
    ahead = np.maximum(np.arange(len(celsius)) - past, 0) / 24
    error[told] = (EXPECTED_ERROR_C + EXPECTED_ERROR_C_A_DAY * ahead)[told]


def _day_to_day(celsius: Array, known: NDArray[np.intp]) -> float:
    """The standard deviation of the daily means of the days last known, around their own straight line."""
    whole = min(len(known) // 24, SPREAD_DAYS)
    if whole < 5:
        return UNKNOWN_SPREAD_C
    means = celsius[known[len(known) - 24 * whole :]].reshape(whole, 24).mean(axis=1)
    at = np.arange(whole) - (whole - 1) / 2
    rest = means - means.mean() - at * (at @ means) / (at @ at)
    return max(LEAST_SPREAD_C, float(np.sqrt((rest**2).sum() / (whole - 2))))


def _error_ahead(days_ahead: Array, spread_c: float, known_days: float) -> Array:
    """The standard error of each hour ahead such that the mean over the coming days errs as weather does.

    A spell lasts WEATHER_LASTS_DAYS, so the sum over n days errs as that of a first-order autoregression, by about
    spread times the root of (two spells times n); a level taken from few days errs with them, and the season's drift
    adds a share that grows with n squared.
    """
    spells = 2 * WEATHER_LASTS_DAYS

    def summed(n: Array) -> Array:
        weather = spells * n * -np.expm1(-n / spells)
        level = n**2 * spells / (spells + known_days)
        return np.asarray(spread_c * np.sqrt(weather + level + (SEASON_DRIFT_SHARE * n**2 / 2) ** 2))

    step = 1 / 24
    return (summed(days_ahead + step / 2) - summed(np.maximum(days_ahead - step / 2, 0))) / step
