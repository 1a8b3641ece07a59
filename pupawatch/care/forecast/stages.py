"""What a colour that was seen says about the hour of emergence: darkening and clear come shortly before it.

How long a stage lasts is reckoned in development, as everything else: the profile's hours hold at the reference
temperature, and cold stretches them. Each is log-logistic between its low and high hours (10 and 90 %).
"""

from collections.abc import Callable, Sequence
from math import log, sqrt
from typing import NamedTuple

import numpy as np

from pupawatch.care.forecast.records import Sighting
from pupawatch.care.forecast.timeline import Array, hours_of
from pupawatch.model.settings import Profile

SHORTEST_CLEAR_SHARE = 0.25
"""One in ten clear pupae needs no more than this share of the profile's ``clear_hours``. Common practice."""


class _Lasting(NamedTuple):
    """How many reference days before emergence a stage sets in."""

    median_days: float
    scale: float

    @classmethod
    def between(cls, low_hours: float, high_hours: float) -> "_Lasting":
        high_hours = max(high_hours, low_hours * 1.05)
        return cls(sqrt(low_hours * high_hours) / 24, log(high_hours / low_hours) / (2 * log(9)))

    def within(self, days: Array) -> Array:
        """The chance that it sets in no more than ``days`` before emergence; 0 for negative days."""
        past = (np.log(np.maximum(days, 1e-9)) - log(self.median_days)) / self.scale
        return np.asarray(1 / (1 + np.exp(np.clip(-past, -50, 50))))


def evidence(
    sightings: Sequence[Sighting], formed_hours: float, profile: Profile, at: Array, grown: Callable[[Array], Array]
) -> tuple[Array, Array]:
    """How well emergence at each instant of ``at`` (POSIX hours) agrees with what was seen, as two likelihoods.

    The first speaks from the darker stages that were seen (all ones: none was), the second from those that were not
    there yet at the last sighting. grown: development up to given instants, in reference days.
    """
    dark = _Lasting.between(profile.darkening_hours_low, profile.darkening_hours_high)
    clear = _Lasting.between(SHORTEST_CLEAR_SHARE * profile.clear_hours, profile.clear_hours)
    seen, not_yet = np.ones_like(at), np.ones_like(at)
    reached = grown(at)
    for stages, lasting in ((("darkening", "clear"), dark), (("clear",), clear)):
        first = next((hours_of(s.at) for s in sightings if s.stage in stages), None)
        paler = [hours_of(s.at) for s in sightings if s.stage not in stages and s.stage != "empty"]
        if first is None:
            if paler:
                not_yet = not_yet * lasting.within(reached - grown(np.array(paler[-1])))
            continue
        since = max((hour for hour in paler if hour < first), default=formed_hours)
        onset = lasting.within(reached - grown(np.array(since))) - lasting.within(reached - grown(np.array(first)))
        seen = seen * np.where(at > first, np.maximum(onset, 1e-12), 0.0)
    return seen, not_yet
