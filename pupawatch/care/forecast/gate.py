"""The time of day: adults come out in the morning, so being ready at noon means waiting for the next dawn."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from pupawatch.care.forecast.sun import Sky
from pupawatch.care.forecast.timeline import Array, hours_of, moment_of
from pupawatch.model.settings import Heat

WINDOW_SHARES = np.array([0.15, 0.30, 0.25, 0.18, 0.12])
"""How the emergences of a morning spread over the fifths of its window: most soon after dawn. Common practice."""
OFF_CELLS = 4
"""Into how many cells the hours outside the window are cut."""


class Gate(NamedTuple):
    """The emergence windows of consecutive local days, in POSIX hours; one more end than starts comes before them.

    A pupa that is ready between one window's end and the next comes out in that next window, but for a small share
    that comes at any hour between.
    """

    days: Sequence[date]
    starts: Array
    ends: Array
    off_share: float

    @classmethod
    def between(cls, first: float, last: float, sky: Sky, heat: Heat) -> "Gate":
        """Every window from the one that closes by ``first`` to the one that closes after ``last`` (POSIX hours)."""
        zone = ZoneInfo(sky.zone)
        begin = moment_of(first).astimezone(zone).date() - timedelta(days=2)
        count = (moment_of(last).astimezone(zone).date() - begin).days + 2
        days = [begin + timedelta(days=n) for n in range(count)]
        dawns = np.array([hours_of(sky.dawn(day)) for day in days])
        ends = dawns + heat.emergence_to_hours
        # In the far north dawn can leap by hours from day to day; a window never begins before the last has closed.
        starts = np.maximum(dawns[1:] + heat.emergence_from_hours, ends[:-1])
        return cls(days[1:], starts, np.maximum(ends, np.concatenate((ends[:1], starts))), heat.off_window_share)

    def cells(self) -> tuple[Array, Array]:
        """The edges of all cells, one more than there are cells, and each cell's share of its day's emergences."""
        off = (self.starts - self.ends[:-1])[:, None] * np.arange(OFF_CELLS) / OFF_CELLS + self.ends[:-1, None]
        fifths = np.arange(len(WINDOW_SHARES)) / len(WINDOW_SHARES)
        window = (self.ends[1:] - self.starts)[:, None] * fifths + self.starts[:, None]
        edges = np.append(np.hstack((off, window)).ravel(), self.ends[-1])
        shares = np.append(np.full(OFF_CELLS, self.off_share / OFF_CELLS), (1 - self.off_share) * WINDOW_SHARES)
        return edges, np.tile(shares, len(self.starts))

    def around(self, hours: Array) -> tuple[Array, Array, Array]:
        """For each instant the window ends before and after it, and the share of emergences between that precede it."""
        slot = np.clip(np.searchsorted(self.ends, hours, side="left") - 1, 0, len(self.starts) - 1)
        before, after, start = self.ends[slot], self.ends[slot + 1], self.starts[slot]
        off = np.clip((hours - before) / np.maximum(start - before, 1e-9), 0, 1)
        inside = np.clip((hours - start) / np.maximum(after - start, 1e-9), 0, 1)
        risen = np.interp(inside, np.linspace(0, 1, len(WINDOW_SHARES) + 1), np.append(0, WINDOW_SHARES.cumsum()))
        return before, after, self.off_share * off + (1 - self.off_share) * risen
