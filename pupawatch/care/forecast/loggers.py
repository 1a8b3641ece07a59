"""What the loggers of a place are worth: silent ones, stuck ones, and several that hang side by side.

Importing this loads no numpy. Where no source stands: common practice.
"""

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

SILENT_HOURS = 24.0
"""A logger without a reading for longer is reported."""
STUCK_HOURS = 36.0
"""One value for so long is a doubt."""
STUCK_TIMES = 4.0
"""It is a fault where the sensor otherwise never kept a value for more than this part of the time."""
STUCK_READINGS = 12
"""Of fewer readings nothing is said."""
GAP_SECONDS = 2 * 3600
"""A logger is taken to tell of the time between two readings where they are no further apart."""
APART_C = 3.0
"""Two loggers in one place that differ by more on average do not measure the same air."""


class Readings(NamedTuple):
    """One sensor's readings: POSIX seconds and °C, in order of time."""

    at_seconds: Sequence[float]
    celsius: Sequence[float]


class Stuck(NamedTuple):
    """A sensor that told the same value from one POSIX second to another. is_fault: whether it is left out, as it
    otherwise changes; else it is only a doubt."""

    celsius: float
    since: float
    until: float
    is_fault: bool


class Loggers(NamedTuple):
    """What is to be known of the loggers that tell of one place now.

    silent: sensor and POSIX second of its newest reading, where all have been silent for a day. stuck: sensor and its
    value that stands still now. averaged: the sensors whose mean is used. apart_c: how far apart these are over the
    last day, where that is more than APART_C.
    """

    silent: tuple[str, float] | None = None
    stuck: tuple[tuple[str, Stuck], ...] = ()
    averaged: tuple[str, ...] = ()
    apart_c: float | None = None


def standing_still(told: Readings) -> list[Stuck]:
    """The stretches in which a sensor told one value for too long.

    A cellar and a coarse sensor keep a value for long too, so a fault is only what lasts several times as long as the
    longest of its ordinary stretches.
    """
    runs: list[tuple[int, int]] = []
    begin = 0
    for _, run in groupby(told.celsius):
        count = sum(1 for _ in run)
        runs.append((begin, begin + count - 1))
        begin += count
    hours = [(told.at_seconds[last] - told.at_seconds[first]) / 3600 for first, last in runs]
    usual = max((lasts for lasts in hours if lasts < STUCK_HOURS), default=None)
    return [
        Stuck(
            float(told.celsius[first]),
            float(told.at_seconds[first]),
            float(told.at_seconds[last]),
            usual is not None and lasts >= STUCK_TIMES * usual,
        )
        for (first, last), lasts in zip(runs, hours, strict=True)
        if lasts >= STUCK_HOURS and last - first >= STUCK_READINGS
    ]


def without(told: Readings, faults: Sequence[Stuck]) -> Readings:
    """The readings without those of the faults, but for the first of each: then it was so."""
    spans = [(fault.since, fault.until) for fault in faults if fault.is_fault]
    if not spans:
        return told
    kept = [n for n, at in enumerate(told.at_seconds) if not any(since < at <= until for since, until in spans)]
    return Readings([told.at_seconds[n] for n in kept], [told.celsius[n] for n in kept])


def averaged(parts: Sequence[Readings]) -> tuple[Readings, float]:
    """The mean of several loggers in one place, at the instants of all of them (each counts while it tells), and its
    standard error in °C: half of how far they are apart on average, 0 where never two tell at once."""
    parts = [part for part in parts if len(part.at_seconds)]
    if len(parts) < 2:
        return (parts[0] if parts else Readings([], [])), 0.0
    import numpy as np

    at = np.unique(np.concatenate([np.asarray(part.at_seconds, dtype=np.float64) for part in parts]))
    told = np.array([_held(part, at) for part in parts])
    apart = np.nanmax(told, axis=0) - np.nanmin(told, axis=0)
    both = (~np.isnan(told)).sum(axis=0) >= 2
    mean = Readings(at.tolist(), np.nanmean(told, axis=0).tolist())
    return mean, float(apart[both].mean()) / 2 if both.any() else 0.0


def apart_c(parts: Sequence[Readings], until: float) -> float | None:
    """How far apart the loggers of one place are on average over the last day, in °C; None where not two tell."""
    import numpy as np

    day = [(part, [at for at in part.at_seconds[-_DAY_READINGS:] if until - 86400 <= at <= until]) for part in parts]
    if sum(1 for _, at in day if at) < 2:
        return None
    at = np.unique(np.concatenate([np.asarray(at, dtype=np.float64) for _, at in day]))
    told = np.array([_held(part, at) for part, _ in day])
    both = (~np.isnan(told)).sum(axis=0) >= 2
    if not both.any():
        return None
    return float((np.nanmax(told[:, both], axis=0) - np.nanmin(told[:, both], axis=0)).mean())


_DAY_READINGS = 90_000
"""More readings than a day of seconds holds."""


def _held(part: Readings, at: "NDArray[float64]") -> "NDArray[float64]":
    """One logger's temperature at these instants, not a number where it does not tell."""
    import numpy as np

    own = np.asarray(part.at_seconds, dtype=np.float64)
    after = np.clip(np.searchsorted(own, at), 0, len(own) - 1)
    before = np.clip(np.searchsorted(own, at, side="right") - 1, 0, len(own) - 1)
    inside = (own[before] <= at) & (at <= own[after]) & (own[after] - own[before] <= GAP_SECONDS)
    return np.where(inside, np.interp(at, own, np.asarray(part.celsius, dtype=np.float64)), np.nan)
