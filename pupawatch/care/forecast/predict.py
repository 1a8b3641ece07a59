"""The distribution of the emergence instant over cells of time, for many pupae at once."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from pupawatch.care.forecast.belief import Belief, behind, formation_hours
from pupawatch.care.forecast.development import SCENARIO_WEIGHTS, Curve
from pupawatch.care.forecast.gate import Gate
from pupawatch.care.forecast.records import Watched
from pupawatch.care.forecast.stages import SAME, Pace, evidence
from pupawatch.care.forecast.timeline import Array, hours_of
from pupawatch.model.settings import Profile

STAGE_DAYS = 30
"""A pupa seen darkening or clear comes out within so many days, whatever the reckoning says. No source."""


class Formed(NamedTuple):
    """Between which POSIX hours a pupa formed."""

    since: float
    until: float


class Spread(NamedTuple):
    """edges: of the cells, in POSIX hours. mass: by pupa and cell; later: by pupa, beyond the last cell.

    left: by pupa, the share of such pupae that would still be inside when it was last seen so.
    """

    edges: Array
    mass: Array
    later: Array
    left: Array


def spread(
    pupae: Sequence[Watched],
    formed: Sequence[Formed],
    beliefs: Sequence[Belief],
    curve_of: Callable[[str], Curve],
    gate: Gate,
    profile: Profile,
    now: float,
    pace: Pace = SAME,
) -> Spread:
    """When each pupa emerges, given that it had not when it was last seen, and the stages that were seen.

    beliefs: one for each pupa; those that share one are reckoned together. pace: of the colour stages.
    """
    edges, shares = gate.cells()
    mass, later = _unconditional(pupae, formed, beliefs, curve_of, gate)
    seen, not_yet = np.ones_like(mass), np.ones_like(mass)
    middles = (edges[1:] + edges[:-1]) / 2
    for n, pupa in enumerate(pupae):
        if pupa.sightings:
            curve = curve_of(pupa.stays[-1].place).middle
            seen[n], not_yet[n] = evidence(pupa.sightings, formed[n].since, profile, middles, curve, pace)
    # A darker stage is seen with the eye, and the reckoning may be wrong for this pupa: so half of it gives way to any
    # of the coming days, among which the stage decides.
    darker = np.flatnonzero(seen.min(axis=1) < 1)
    soon = shares * (seen[darker] > 0) * (np.cumsum(shares * (seen[darker] > 0), axis=1) <= STAGE_DAYS)
    mass[darker] = 0.5 * mass[darker] + 0.5 * soon / STAGE_DAYS
    later[darker] = 0
    expected = mass * seen
    # Cells that ended before the pupa was last seen inside are over; the one cut by that instant counts in part.
    alive = np.array([min(hours_of(pupa.alive_at), now) for pupa in pupae])
    still = np.clip((edges[1:] - alive[:, None]) / np.maximum(np.diff(edges), 1e-9), 0, 1)
    # Stages that were not there yet do not speak of being overdue: a pupa green long after its time is just that.
    left = ((expected * still).sum(1) + later) / np.maximum(expected.sum(1) + later, 1e-300)
    after = expected * still * not_yet
    total = np.maximum(after.sum(1) + later, 1e-300)
    return Spread(edges, after / total[:, None], later / total, left)


def _unconditional(
    pupae: Sequence[Watched],
    formed: Sequence[Formed],
    beliefs: Sequence[Belief],
    curve_of: Callable[[str], Curve],
    gate: Gate,
) -> tuple[Array, Array]:
    """When such pupae emerge, before it is asked whether they still hang or what was seen of them."""
    ready = np.zeros((len(pupae), len(gate.ends)))
    kinds: dict[tuple[str, int], list[int]] = {}
    for n, pupa in enumerate(pupae):
        kinds.setdefault((pupa.stays[-1].place, id(beliefs[n])), []).append(n)
    for (place, _), here in kinds.items():
        belief, grown = beliefs[here[0]], curve_of(place).at(gate.ends)
        offsets = np.array([behind(formation_hours(*formed[n]), pupae[n].stays, curve_of) for n in here])
        for scenario, weight in enumerate(SCENARIO_WEIGHTS if len(grown) > 1 else np.ones(1)):
            for base in range(grown.shape[1]):
                since = grown[scenario, base] - offsets[:, :, scenario, base, None]
                ready[here] += weight * belief.ready(since, base).mean(axis=1)
    _, shares = gate.cells()
    slots = np.maximum(np.diff(ready, axis=1), 0)
    mass = np.repeat(slots, len(shares) // slots.shape[1], axis=1) * shares
    mass[:, 0] += ready[:, 0]  # ready before the first window: out long ago
    return mass, 1 - ready[:, -1]


class Distribution(NamedTuple):
    """When one pupa emerges: the chance ``summed`` up to each of ``edges`` (POSIX hours), ending below 1.

    What is missing to 1 lies beyond the last edge. left: as in ``Spread``.
    """

    edges: Array
    summed: Array
    left: float

    @property
    def later(self) -> float:
        """The chance that it emerges beyond the last edge."""
        return max(0.0, 1 - float(self.summed[-1]))

    def by(self, hours: Array) -> Array:
        """The chance that it is out by these POSIX hours."""
        return np.asarray(np.interp(hours, self.edges, self.summed))

    def quantiles(self, *shares: float) -> list[float | None]:
        """The POSIX hours by which it is out with these chances; None beyond the last edge."""
        hours = np.interp(shares, self.summed, self.edges)
        return [float(at) if q <= self.summed[-1] else None for q, at in zip(shares, hours, strict=True)]


def distributions(result: Spread) -> list[Distribution]:
    """The pupae of a spread, one by one."""
    summed = np.zeros((len(result.mass), len(result.edges)))
    np.cumsum(result.mass, axis=1, out=summed[:, 1:])
    return [Distribution(result.edges, row, float(left)) for row, left in zip(summed, result.left, strict=True)]
