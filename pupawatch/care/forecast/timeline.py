"""Hour by hour: the temperatures of one place from the past into the days to come, with what is not known.

Instants are POSIX hours here (seconds / 3600), so that they can be reckoned with in arrays.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pupawatch.care.forecast.records import DayRange, Temperatures
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.times import instant, start_of_day

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STANDSTILL_C = -40.0
"""So cold that nothing develops, whatever the base."""
LONGEST_GAP_HOURS = 2.0
"""Readings further apart than this leave a gap. Common practice, no source."""

# How days that nothing measured may differ from those that were. Where no source stands: wide on purpose.
PATTERN_DAYS = 14
"""The daily course is that of so many days last measured."""
SPREAD_DAYS = 28
"""The level and the day-to-day spread are those of so many days last measured."""
UNKNOWN_SPREAD_C = 2.5
"""Day-to-day standard deviation where too few days are known to tell; also that of the open air."""
LEAST_SPREAD_C = 0.3
"""No room is steadier than this from day to day."""
WEATHER_LASTS_DAYS = 3.0
"""A warm or cool spell fades to a third in about so long; daily means of the open air correlate by about 0.7 from one
day to the next. Common practice."""
TELLING_HOURS = 6
"""A day with so many measured hours tells whether it was warmer or cooler than usual."""
SEA_LEVEL_C, TO_THE_POLE_C, SEASON_C = 15.0, -28.0, 12.0
"""The year's mean by latitude is SEA_LEVEL_C + TO_THE_POLE_C * (3 sin² - 1) / 2, and half the way from the coldest to
the warmest time SEASON_C * sin. Zonal means of an energy balance model: North 1975, J. Atmos. Sci. 32:2033; North &
Coakley 1979, J. Atmos. Sci. 36:1189; both from memory;
15.5 over land there; 12 was chosen by score on simulated autumns (the quick form of ``tests/bench/calibration.py``, so
that bench is no proof of it). A room has as much of it as of the weather's spread."""
WARMEST_AFTER_DAYS = 28
"""The warmest time comes so long after the longest day."""
LATITUDE_ERROR_C = 4.0
"""Places of one latitude differ so much in their yearly mean: sea, height, walls. No source."""
LONGEST_DAY = 172
"""Of the year, in the north (21 June)."""
SEASON_DRIFT_SHARE = 0.02
"""Beside that, the mean drifts by this share of the day-to-day spread every day, one way or the other. No source;
twice as much scored worse in simulated autumns."""
EXPECTED_ERROR_C, EXPECTED_ERROR_C_A_DAY = 1.0, 0.2
"""Standard error of an expected day's temperature, at once and for each day ahead."""
FILLED_ERROR_C = 1.5
"""Standard error where readings are too few to tell a daily course; half of it where the keeper wrote minimum and
maximum of a day on which a logger was silent."""
SILENT_LEAST_C = 1.0
"""No hour of the past that nothing measured is surer than this: what silenced a logger may have changed more. No
source."""
WATCHED_DAYS = 3
"""A logger that is silent for longer was not there any more; then what else is known of the place holds. No source."""
MOST_OF_A_DAY_HOURS = 18
"""Readings that span so many hours show a day's minimum and maximum."""


class Timeline(NamedTuple):
    """One place, hour by hour from ``first_hour`` on.

    celsius: the temperature at the middle of each hour. error_c: its standard error, all hours erring together.
    logged: the hours that readings tell of; their development is taken from the readings themselves where these do not
    err. filled: hours of the past that nothing measured. at_hours, readings_c: the readings.
    """

    first_hour: int
    celsius: Array
    error_c: Array
    logged: Mask
    filled: Mask
    at_hours: Array
    readings_c: Array


def measured_alone(line: Timeline) -> Timeline:
    """The same place where the hours past that nothing measured were too cold for any development."""
    cold, error = line.celsius.copy(), line.error_c.copy()
    cold[line.filled], error[line.filled] = STANDSTILL_C, 0.0
    return line._replace(celsius=cold, error_c=error)


def as_if_sure(line: Timeline) -> Timeline:
    """The same place where nothing of its temperatures were unsure."""
    return line._replace(error_c=np.zeros_like(line.error_c))


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
    return instant(round(float(hours) * 3600))


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
    # Where a logger hung and kept silent even a recorded day is only its sine.
    measured = logged | (by_hand & ~watched[days.on])
    filled = gaps & ~measured & (watched[days.on] | (known.constant_c is None))
    error = np.zeros(hours)
    error[logged] = known.error_c
    error[gaps & ~measured] = LEAST_SPREAD_C
    error[filled] = np.where(by_hand, FILLED_ERROR_C / 2, FILLED_ERROR_C)[filled]
    guessed = filled & ~by_hand
    sure = np.flatnonzero(~guessed[:past])
    if len(np.unique(days.clock[sure].astype(int))) < 24:  # too little for a daily course: what was read is held
        sure = np.arange(max(0, past - 24 * PATTERN_DAYS), past)
    guessed[past:] = True
    guessed[sure] = False
    _guess(celsius, error, days, guessed, sure, sky)
    silent = guessed & filled
    error[silent] = np.maximum(error[silent], SILENT_LEAST_C)
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
    """Minimum and maximum of every day: recorded, else read over most of the day, else the constant where no logger
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


def _guess(celsius: Array, error: Array, days: _Days, guessed: Mask, known: NDArray[np.intp], sky: Sky) -> None:
    """Fill in the hours that nothing measured, to come or past, in place, and how far they may err.

    They follow the season and the daily course, at the level of the days last known; the spell of the nearest known
    days fades. A silence is as unknown as the days to come: its error grows from the last hour known.
    """
    if not len(known) or not guessed.any():
        return
    spread = _day_to_day(celsius, known)
    season, course = _season(days, sky, spread), _daily_course(celsius, days, known[-24 * PATTERN_DAYS :])
    recent = known[-24 * SPREAD_DAYS :]
    level = _level(float((celsius[recent] - season[recent]).mean()), len(recent) / 24, spread, sky)
    off = celsius[known] - (season + course)[known] - level
    on = days.on[known]
    hours = np.bincount(on, minlength=len(days.dates))
    told = np.flatnonzero(hours >= min(TELLING_HOURS, hours.max()))
    spell = np.bincount(on, off, minlength=len(days.dates))[told] / hours[told]
    usual = level + season + course + _fading(spell, told, len(days.dates))[days.on]
    celsius[guessed] = usual[guessed]
    at = np.flatnonzero(guessed)
    after = np.clip(np.searchsorted(known, at), 1, len(known) - 1) if len(known) > 1 else np.zeros(len(at), dtype=int)
    away = np.minimum(np.abs(at - known[after - 1]), np.abs(at - known[after])) / 24
    error[at] = _error_away(away, spread, min(len(known) / 24, SPREAD_DAYS))


def _daily_course(celsius: Array, days: _Days, recent: NDArray[np.intp]) -> Array:
    """How far each hour usually lies above or below its day's mean, hour by hour."""
    clock = days.clock.astype(int)
    counts = np.bincount(clock[recent], minlength=24)
    course = np.bincount(clock[recent], celsius[recent], minlength=24) / np.maximum(counts, 1)
    return np.asarray((course - course.mean())[clock])


def _fading(spell: Array, told: NDArray[np.intp], count: int) -> Array:
    """The spell of each day: as told, and fading away from the days that tell (a first-order autoregression between
    and beyond them)."""
    found = np.zeros(count)
    every = np.arange(count)
    right = np.searchsorted(told, every)
    for n, day in enumerate(every):
        before, after = right[n] - 1, right[n]
        if after < len(told) and told[after] == day:
            found[day] = spell[after]
        elif before < 0 or after == len(told):
            near = after if before < 0 else before
            found[day] = spell[near] * np.exp(-abs(int(told[near]) - int(day)) / WEATHER_LASTS_DAYS)
        else:
            to_left, to_right = (day - told[before]) / WEATHER_LASTS_DAYS, (told[after] - day) / WEATHER_LASTS_DAYS
            whole = min(float(to_left + to_right), 700.0)
            weights = np.sinh(min(float(to_right), 700.0)), np.sinh(min(float(to_left), 700.0))
            found[day] = (spell[before] * weights[0] + spell[after] * weights[1]) / np.sinh(whole)
    return found


def _level(own: float, known_days: float, spread: float, sky: Sky) -> float:
    """The level of the place without its season, in °C: its own, drawn a little towards its latitude's where few days
    are known of a place as changing as the open air."""
    if sky.latitude is None:
        return own
    spells = 2 * WEATHER_LASTS_DAYS
    unsure = spread**2 * spells / (spells + known_days)
    share = _openness(spread) * unsure / (unsure + LATITUDE_ERROR_C**2)
    usual = SEA_LEVEL_C + TO_THE_POLE_C * (3 * np.sin(np.radians(sky.latitude)) ** 2 - 1) / 2
    return float(own + share * (usual - own))


def _openness(spread: float) -> float:
    """How much of the weather reaches a place: 0 none of it, 1 as much as the open air has."""
    return min(1.0, spread / UNKNOWN_SPREAD_C)


def _season(days: _Days, sky: Sky, spread: float) -> Array:
    """The course of the year around its mean, in °C, hour by hour; flat on the equator and where no place is told."""
    swing = 0.0 if sky.latitude is None else SEASON_C * np.sin(np.radians(sky.latitude)) * _openness(spread)
    since_warmest = np.array([day.timetuple().tm_yday for day in days.dates]) - (LONGEST_DAY + WARMEST_AFTER_DAYS)
    return np.asarray(swing * np.cos(2 * np.pi * since_warmest / 365.25)[days.on])


def _expect(celsius: Array, error: Array, expected: Sequence[DayRange], days: _Days, past: int, filled: Mask) -> None:
    """Put the expected days instead of the hours to come, and of past hours that nothing measured."""
    low, high = _on_days(expected, days.dates)
    told = ~np.isnan(low)[days.on]
    told[:past] &= filled[:past]
    celsius[told] = _sine(low, high, days)[told]
    ahead = np.maximum(np.arange(len(celsius)) - past, 0) / 24
    error[told] = (EXPECTED_ERROR_C + EXPECTED_ERROR_C_A_DAY * ahead)[told]


def _day_to_day(celsius: Array, known: NDArray[np.intp]) -> float:
    """The standard deviation of the daily means of the days last known, around their own straight line.

    Spells last for days, and a line drawn through few days follows them: what is left around it is less than the
    weather's own spread, by the share that a first-order autoregression leaves there on average.
    """
    whole = min(len(known) // 24, SPREAD_DAYS)
    if whole < 5:
        return UNKNOWN_SPREAD_C
    means = celsius[known[len(known) - 24 * whole :]].reshape(whole, 24).mean(axis=1)
    at = np.arange(whole) - (whole - 1) / 2
    rest = means - means.mean() - at * (at @ means) / (at @ at)
    return max(LEAST_SPREAD_C, float(np.sqrt((rest**2).sum() / _left_by_a_line(whole))))


@lru_cache(maxsize=SPREAD_DAYS)
def _left_by_a_line(days: int) -> float:
    """The sum of squares that the weather of so many days, of a spread of 1, leaves around its own straight line."""
    at = np.arange(days)
    alike = np.exp(-np.abs(at[:, None] - at) / WEATHER_LASTS_DAYS)
    line = np.column_stack([np.ones(days), at])
    return float(days - np.trace(np.linalg.solve(line.T @ line, line.T @ alike @ line)))


def _error_away(days_away: Array, spread_c: float, known_days: float) -> Array:
    """The standard error of each hour so far from the nearest known one, such that the mean over those days errs as
    weather does.

    A spell fades, so the sum over n days errs as that of a first-order autoregression that is known at its beginning;
    a level taken from few days errs with them, and the season's drift adds a share that grows with n squared.
    """
    lasts = WEATHER_LASTS_DAYS

    def summed(n: Array) -> Array:
        gone = np.exp(-n / lasts)
        weather = 2 * lasts * n - lasts**2 * (3 - 4 * gone + gone**2)
        level = n**2 * 2 * lasts / (2 * lasts + known_days)
        drift = (SEASON_DRIFT_SHARE * n**2 / 2) ** 2
        return np.asarray(spread_c * np.sqrt(np.maximum(weather + level + drift, 0)))

    # The last day's spell is known as the day's mean, so half a day before its end.
    step, half = 1 / 24, 0.5
    return (summed(days_away + half + step / 2) - summed(days_away + half - step / 2)) / step
