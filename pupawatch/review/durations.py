"""Time to emergence from intervals: nobody watches all night, so no duration is known to the hour.

A pupa formed within one interval and emerged within another; all that is certain is that its duration lies between
the two extremes. The curve is the likeliest one under these intervals (Turnbull), its band comes from resampling.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise
from math import ceil, floor, inf
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.model.pupa import Pupa
from pupawatch.model.times import hours_between
from pupawatch.review.factors import Season

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_RESAMPLES = 200
_PATIENCE = 20_000
_NOTHING = 1e-5
_MANY = 100
_COARSE_HOURS = 6
"""Of more than so many pupae the curve is drawn to six hours, of fewer to the hour."""
_SEED = 1
"""The same records give the same band, every time and on every machine."""


class Lifetime(NamedTuple):
    """A pupa took more than ``over`` and at most ``up_to`` hours to emerge (inf: it was not seen to)."""

    over: float
    up_to: float


class Step(NamedTuple):
    """This share of the pupae emerged after ``over`` and by ``up_to`` hours; when within is not known."""

    over: float
    up_to: float
    share: float


class Curve(NamedTuple):
    """How many are still pupae after how many hours.

    low, high: the 95 % band of the share still pupae at the end of each step. n: the pupae behind it; emerged: how
    many of these are known to have emerged, the others were last seen as pupae.
    """

    steps: list[Step]
    low: list[float]
    high: list[float]
    n: int
    emerged: int

    def still(self, hours: float) -> float:
        """The share still pupae after so many hours, a step counted when it is over."""
        return 1.0 - sum(step.share for step in self.steps if step.up_to <= hours)

    def band(self, hours: float) -> tuple[float, float]:
        """The 95 % band of ``still`` at that time."""
        past = sum(step.up_to <= hours for step in self.steps)
        return (self.low[past - 1], self.high[past - 1]) if past else (1.0, 1.0)

    def median(self) -> Step | None:
        """The step within which half have emerged, None where fewer than half were seen to."""
        out = 0.0
        for step in self.steps:
            out += step.share
            if out >= 0.5 - 1e-9:
                return None if step.up_to == inf else step
        return None

    def median_band(self) -> tuple[float, float]:
        """The hours between which half have emerged, with 95 %: where the band's two edges pass one half.

        The upper one is inf where that edge never does. Brookmeyer & Crowley 1982, Biometrics 38:29, from memory.
        """
        first = next((step.over for step, low in zip(self.steps, self.low, strict=True) if low <= 0.5), inf)
        last = next((step.up_to for step, high in zip(self.steps, self.high, strict=True) if high <= 0.5), inf)
        return first, last


def lifetime(pupa: Pupa) -> Lifetime | None:
    """How long it took, as far as anybody knows; None where its records say nothing about that.

    A pupa that is pending, or was lost, or let go without a word about its emergence, took longer than until it
    was last seen as a pupa.
    """
    if pupa.formed_to is None:
        return None
    if pupa.emerged is None:
        end = pupa.lost or pupa.released
        seen = [e.happened for e in pupa.entries if end is None or e.happened < end.earliest]
        alive = max(seen, default=pupa.formed_to)
        over = hours_between(pupa.formed_to, alive)
        return Lifetime(over, inf) if over > 0 else None
    alive = pupa.emerged.since or pupa.last_seen or pupa.formed_to
    over = max(0.0, hours_between(pupa.formed_to, alive))
    if pupa.formed_from is None:
        return Lifetime(over, inf) if over > 0 else None
    up_to = hours_between(pupa.formed_from, pupa.emerged.happened)
    if up_to <= 0 or over > up_to:
        return None  # its entries contradict each other
    return Lifetime(over, up_to)


def curve(lifetimes: Sequence[Lifetime]) -> Curve | None:
    """The curve of these lifetimes with its band, None where no emergence is among them."""
    emerged = sum(life.up_to < inf for life in lifetimes)
    if not emerged:
        return None
    import numpy as np

    met = Counter(_outward(life, _COARSE_HOURS if len(lifetimes) > _MANY else 1) for life in lifetimes)
    unlike, gaps = sorted(met), innermost(met)
    times = np.array([[met[life] for life in unlike]], float)
    holds = np.array([[life.over <= over and up_to <= life.up_to for over, up_to in gaps] for life in unlike], float)
    shares = _likeliest(holds, times, np.full((1, len(gaps)), 1 / len(gaps)), 1e-8)
    resampled = np.random.default_rng(_SEED).multinomial(len(lifetimes), times[0] / len(lifetimes), _RESAMPLES)
    start = np.repeat(0.9 * shares + 0.1 / len(gaps), _RESAMPLES, axis=0)
    still = 1 - np.cumsum(_likeliest(holds, resampled.astype(float), start, 1e-4), axis=1)
    low, high = np.clip(np.quantile(still, (0.025, 0.975), axis=0), 0, 1)
    drawn = [i for i, share in enumerate(shares[0]) if share > _NOTHING]
    return Curve(
        [Step(*gaps[i], float(shares[0][i])) for i in drawn],
        [float(low[i]) for i in drawn],
        [float(high[i]) for i in drawn],
        len(lifetimes),
        emerged,
    )


def _outward(life: Lifetime, hours: int) -> Lifetime:
    """The interval widened to whole multiples of ``hours``: it still holds the truth, and many become alike."""
    up_to = life.up_to if life.up_to == inf else ceil(life.up_to / hours) * hours
    return Lifetime(min(floor(life.over / hours) * hours, up_to - hours), up_to)


def innermost(lifetimes: Iterable[Lifetime]) -> list[Lifetime]:
    """The intervals on which the likeliest curve can fall: from a left end to the next right end, none between.

    Turnbull 1976, J. R. Stat. Soc. B 38:290.
    """
    lifetimes = list(lifetimes)
    # Where a right end meets a left end the right one comes first: (a, b] ends before (b, c] begins.
    ends = sorted({(life.up_to, 0) for life in lifetimes} | {(life.over, 1) for life in lifetimes})
    return [
        Lifetime(first, second) for (first, begins), (second, begins_too) in pairwise(ends) if begins and not begins_too
    ]


def _likeliest(
    holds: "NDArray[np.float64]", weights: "NDArray[np.float64]", shares: "NDArray[np.float64]", precision: float
) -> "NDArray[np.float64]":
    """The likeliest share of each innermost interval, for each row of weights, by self-consistency (Turnbull 1976).

    holds: which lifetime (row) can fall on which interval (column); weights: how often each lifetime counts;
    shares: where to start, nothing in it zero; precision: it ends when no share changes by more.
    """
    import numpy as np

    totals = weights.sum(axis=1, keepdims=True)
    for _ in range(_PATIENCE):
        likelihood = np.maximum(shares @ holds.T, 1e-300)
        before, shares = shares, shares * ((weights / likelihood) @ holds) / totals
        if np.abs(shares - before).max() < precision:
            break
    return shares


def curves(season: Season, by: str) -> dict[str, Curve]:
    """The curve of each group in which enough emergences are known to say something."""
    smallest = season.settings.care.review.smallest_group
    drawn = {group: curve_of(pupae) for group, pupae in season.groups(by).items()}
    return {group: curve for group, curve in drawn.items() if curve and curve.emerged >= smallest}


def curve_of(pupae: Iterable[Pupa]) -> Curve | None:
    """The curve of those pupae whose records say how long they took or are taking, None where none emerged."""
    return curve([life for life in map(lifetime, pupae) if life])


class Hours(NamedTuple):
    """Emergences by local hour of day. by_hour: 24 numbers, an interval shared evenly among the hours it spans.

    n: how many are known well enough; unsure: how many are not.
    """

    by_hour: list[float]
    n: int
    unsure: int

    @property
    def told(self) -> str:
        """Of how many the hour is told, and of how many it is not."""
        return f"{self.n} known" + (f", {self.unsure} more too vague to tell" if self.unsure else "")


def emergence_hours(season: Season) -> Hours:
    """At what hour of the keeper's day the adults came out, where their interval is short enough to tell."""
    widest, zone = season.settings.care.review.hour_within_hours, ZoneInfo(season.settings.zone)
    by_hour, known, unsure = [0.0] * 24, 0, 0
    for pupa in season.pupae:
        if pupa.emerged is None:
            continue
        since = pupa.emerged.since or pupa.last_seen
        if since is None or hours_between(since, pupa.emerged.happened) > widest:
            unsure += 1
            continue
        known += 1
        local = since.astimezone(zone)
        begin = local.hour + local.minute / 60
        end = begin + hours_between(since, pupa.emerged.happened)
        for hour in range(int(begin), int(end) + 1):
            inside = min(end, hour + 1) - max(begin, hour)
            by_hour[hour % 24] += inside / (end - begin) if end > begin else 1.0
    return Hours(by_hour, known, unsure)


def emergences_by_day(season: Season) -> dict[date, int]:
    """How many adults were out first on each local day."""
    zone = ZoneInfo(season.settings.zone)
    days: dict[date, int] = {}
    for pupa in season.pupae:
        if pupa.emerged is not None:
            day = pupa.emerged.happened.astimezone(zone).date()
            days[day] = days.get(day, 0) + 1
    return dict(sorted(days.items()))
