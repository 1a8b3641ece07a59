"""Degree-days: the warmth of a day above a lower threshold, counted no further than an upper one.

All temperatures in one unit (°C throughout the program; the formulas hold in °F as well), all results in that unit
times days. The cut-off at the upper threshold is horizontal: warmth above it neither helps nor harms.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import acos, inf, pi, sqrt
from typing import NamedTuple

LONGEST_GAP_HOURS = 2.0
"""Readings further apart than this leave a gap. Common practice, no source."""


class Collected(NamedTuple):
    """Degree-days of one day, and how many of its hours had no reading and were filled by the day's sine."""

    degree_days: float
    filled_hours: float


def average(low: float, high: float, base: float, cap: float = inf) -> float:
    """Single average: the day's mean above ``base``, never below 0 (McMaster & Wilhelm 1997, method 1).

    The mean alone is held to the thresholds, so a cool night is held against a warm afternoon.
    """
    return max(0.0, min((low + high) / 2, cap) - base)


def modified_average(low: float, high: float, base: float, cap: float = inf) -> float:
    """Single average of minimum and maximum each first held between the thresholds (the same, method 2)."""
    return (_held(low, base, cap) + _held(high, base, cap)) / 2 - base


def triangle(low: float, high: float, base: float, cap: float = inf) -> float:
    """Single triangle: the day runs in straight lines between minimum and maximum (Zalom et al. 1983)."""
    return _triangle_above(low, high, base) - _triangle_above(low, high, cap)


def sine(low: float, high: float, base: float, cap: float = inf) -> float:
    """Single sine: the day runs as a sine between minimum and maximum (Baskerville & Emin 1969)."""
    return _sine_above(low, high, base) - _sine_above(low, high, cap)


def double_triangle(low: float, high: float, next_low: float, base: float, cap: float = inf) -> float:
    """Triangle whose falling half ends at the next day's minimum (Zalom et al. 1983)."""
    return (triangle(low, high, base, cap) + triangle(next_low, high, base, cap)) / 2


def double_sine(low: float, high: float, next_low: float, base: float, cap: float = inf) -> float:
    """Sine whose falling half ends at the next day's minimum (Zalom et al. 1983)."""
    return (sine(low, high, base, cap) + sine(next_low, high, base, cap)) / 2


def logged_day(
    readings: Sequence[tuple[float, float]],
    base: float,
    cap: float = inf,
    low: float | None = None,
    high: float | None = None,
    day_hours: float = 24.0,
) -> Collected:
    """Degree-days of one day from a logger's readings, by trapezia of what lies between the thresholds.

    readings: (hours since the day began, temperature), in order of time; the last reading of the day before and
    the first of the next belong to it, with negative hours and hours beyond the day. Where two readings are more
    than LONGEST_GAP_HOURS apart, or the day's ends are not reached, the sine between ``low`` and ``high`` fills in
    (the keeper's minimum and maximum; without them those of the readings). day_hours: 23 or 25 where the clocks
    change. Raises ValueError where there is neither a reading nor a minimum and maximum.
    """
    if not readings and (low is None or high is None):
        raise ValueError("a day without readings needs a minimum and a maximum")
    collected = covered = 0.0
    for (since, before), (until, after) in pairwise(readings):
        if not 0 < until - since <= LONGEST_GAP_HOURS:
            continue
        left, right = max(since, 0.0), min(until, day_hours)
        if left >= right:
            continue
        # Only the part inside the day counts; the temperature at midnight lies on the line between two readings.
        slope = (after - before) / (until - since)
        ends = (before + slope * (left - since), before + slope * (right - since))
        collected += (right - left) * (sum(_held(end, base, cap) for end in ends) / 2 - base)
        covered += right - left
    filled = day_hours - covered
    if filled > 1e-9:
        inside = [celsius for hour, celsius in readings if 0 <= hour <= day_hours] or [c for _, c in readings]
        bottom = min(inside) if low is None else low
        top = max(inside) if high is None else high
        collected += filled * sine(bottom, top, base, cap)
    return Collected(collected / 24, max(0.0, filled))


def _held(value: float, base: float, cap: float) -> float:
    return min(max(value, base), cap)


def _triangle_above(low: float, high: float, threshold: float) -> float:
    if low >= threshold:
        return (low + high) / 2 - threshold
    if high <= threshold:
        return 0.0
    return float((high - threshold) ** 2 / (2 * (high - low)))


def _sine_above(low: float, high: float, threshold: float) -> float:
    """The daily mean of what a sine between ``low`` and ``high`` rises above ``threshold``."""
    mean, swing = (low + high) / 2, (high - low) / 2
    if low >= threshold:
        return mean - threshold
    if high <= threshold:
        return 0.0
    # Half the time above the threshold, as an angle: pi/2 - arcsin = arccos.
    level = (threshold - mean) / swing
    return ((mean - threshold) * acos(level) + swing * sqrt(1 - level * level)) / pi
