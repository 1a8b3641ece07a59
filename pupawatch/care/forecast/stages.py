"""What a colour that was seen says about the hour of emergence, and of pupation: darkening and clear come late.

How long a pupa is dark is reckoned in development, as everything else: the profile's hours hold at the reference
temperature, and cold stretches them (dated by observers: 10 to 14 h of eleven warm days, three days of twenty-nine cool
ones, three weeks near freezing). A clear one goes by the clock: hours in warmth, under a day in a cool spring, about
three hours after those twenty-nine days; only where development nearly stands still it waits as well. Each is
log-logistic between its low and high hours (10 and 90 %), at the keeper's own pace where sightings tell it.
"""

from collections.abc import Callable, Sequence
from math import exp, log, sqrt
from typing import NamedTuple

import numpy as np

from pupawatch.care.forecast.development import Curve
from pupawatch.care.forecast.records import Finished, Sighting
from pupawatch.care.forecast.timeline import Array, hours_of
from pupawatch.model.settings import Profile

SHORTEST_CLEAR_SHARE = 0.25
"""One in ten clear pupae needs no more than this share of the profile's ``clear_hours``. Common practice."""


CLOCK_ABOVE = 0.25
"""A clear pupa goes by the clock where development runs at this share of its pace at the reference temperature, and in
proportion below. Reasoned."""
LEAST_SHARE: dict[str, float] = {"darkening": 0.75, "clear": 0.88}
MOST_SHARE = 1.3
"""Between these shares of the expected heat lies the development of a pupa that is seen so: the least plausible ones,
and beyond the most nearly all are out. Reasoned, from dated examples at 90 to 95 %."""
PACE_LOG_SD, SIGHTING_LOG_SD = 0.5, 0.5
"""How far keepers, and the single sightings of one keeper, differ in the length of a stage, as standard deviations of
its logarithm. No source."""


class Pace(NamedTuple):
    """How much longer than the profile says the stages last with this keeper: 1 as long."""

    dark: float = 1.0
    clear: float = 1.0


def by_clock(curve: Curve, since: float, until: float) -> Curve:
    """From the development at a place, how far a clear pupa has come: days where it is warm, less where it is cold.

    It holds between two POSIX hours; a curve may reach back over seasons that nobody asks for.
    """
    asked = curve.between(since, until)
    rates = np.minimum(1.0, np.diff(asked.summed) * 24 / CLOCK_ABOVE)
    return Curve(asked.first_hour, np.concatenate(([0.0], np.cumsum(rates / 24))))


def pupated_between(sightings: Sequence[Sighting], days: float, curve: Curve) -> tuple[float, float] | None:
    """Between which POSIX hours a pupa formed that is dark or clear, reckoned backwards; None where none was seen so.

    days: the reference days such a pupa needs. curve: the middle development where it hangs.
    """
    dark = next((seen for seen in sightings if seen.stage in LEAST_SHARE), None)
    if dark is None:
        return None
    reached = float(curve.at(np.array(hours_of(dark.at))))
    since, until = (curve.when(reached - days * share) for share in (MOST_SHARE, LEAST_SHARE[dark.stage]))
    return since, until


def learned_pace(finished: Sequence[Finished], profile: Profile, curve_of: Callable[[str], Curve]) -> Pace:
    """The keeper's own pace of the stages, after what was seen of the pupae that emerged.

    A stage began between the last paler look and the first one that shows it, so its length lies between two instants;
    their middle on the scale of the logarithm counts.
    """
    told: dict[str, list[float]] = {"darkening": [], "clear": []}
    usual = {name: lasting.median_days for name, lasting in _lastings(profile).items()}
    for pupa in finished:
        curve = curve_of(pupa.stays[-1].place).middle
        for name, stages in _STAGES:
            first = next((seen.at for seen in pupa.sightings if seen.stage in stages), None)
            paler = [seen.at for seen in pupa.sightings if seen.stage not in stages and first and seen.at < first]
            if first is None or not paler:
                continue
            begun = np.array([hours_of(max(paler)), hours_of(first)])
            out = np.array([hours_of(pupa.emerged_to), hours_of(pupa.emerged_from)])
            grown = (by_clock(curve, begun.min(), out.max()) if name == "clear" else curve).at
            lasts = np.maximum(grown(out) - grown(begun), 0.02)
            told[name].append(float(np.log(lasts / usual[name]).mean()))
    return Pace(*(_shrunk(told[name]) for name, _ in _STAGES))


def _shrunk(logs: Sequence[float]) -> float:
    weight = len(logs) / (len(logs) + (SIGHTING_LOG_SD / PACE_LOG_SD) ** 2)
    return exp(weight * sum(logs) / len(logs)) if logs else 1.0


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


_STAGES: tuple[tuple[str, tuple[str, ...]], ...] = (("darkening", ("darkening", "clear")), ("clear", ("clear",)))
SAME = Pace()


def _lastings(profile: Profile, pace: Pace = SAME) -> dict[str, _Lasting]:
    dark, clear = _Lasting.between(profile.darkening_hours_low, profile.darkening_hours_high), profile.clear_hours
    return {
        "darkening": dark._replace(median_days=dark.median_days * pace.dark),
        "clear": _Lasting.between(SHORTEST_CLEAR_SHARE * clear * pace.clear, clear * pace.clear),
    }


def evidence(
    sightings: Sequence[Sighting], formed_hours: float, profile: Profile, at: Array, curve: Curve, pace: Pace = SAME
) -> tuple[Array, Array]:
    """How well emergence at each instant of ``at`` (POSIX hours) agrees with what was seen, as two likelihoods.

    The first speaks from the darker stages that were seen (all ones: none was), the second from those that were not
    there yet at the last sighting. curve: the middle development where it hangs.
    """
    lastings = _lastings(profile, pace)
    seen, not_yet = np.ones_like(at), np.ones_like(at)
    for name, stages in _STAGES:
        lasting = lastings[name]
        first = next((hours_of(s.at) for s in sightings if s.stage in stages), None)
        paler = [hours_of(s.at) for s in sightings if s.stage not in stages and s.stage != "empty"]
        asked = [formed_hours, *(hours_of(s.at) for s in sightings), at.min(), at.max()]
        grown = (by_clock(curve, min(asked), max(asked)) if name == "clear" else curve).at
        reached = grown(at)
        if first is None:
            if paler:
                not_yet = not_yet * lasting.within(reached - grown(np.array(paler[-1])))
            continue
        since = max((hour for hour in paler if hour < first), default=formed_hours)
        onset = lasting.within(reached - grown(np.array(since))) - lasting.within(reached - grown(np.array(first)))
        seen = seen * np.where(at > first, np.maximum(onset, 1e-12), 0.0)
    return seen, not_yet
