"""How good were the forecasts? Past mornings are lived through again, with nothing that was not known then.

Three figures: the share of emergences that fell into the 80 % interval, the median absolute error of the median, and
the continuous ranked probability score (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359-378), in days, beside
those of the rule that goes by a fixed number of days. The score of such a rule, a single instant, is its absolute
error.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from pupawatch.care.forecast.records import Conditions, Finished, Sighting, Stay, Watched
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.settings import Profile
from pupawatch.model.times import local_day

if TYPE_CHECKING:
    from pupawatch.care.forecast.engine import Lessons
    from pupawatch.care.forecast.predict import Distribution

DAY = timedelta(days=1)
KNOWN_WITHIN = 2 * DAY
"""An emergence that is known to within longer is no yardstick for a forecast of days; it still teaches."""


class Story(NamedTuple):
    """A pupa from beginning to end. looks: when it was seen, or its place looked over, and it had not emerged."""

    formed_from: datetime | None
    formed_to: datetime
    emerged_from: datetime
    emerged_to: datetime
    stays: Sequence[Stay]
    sightings: Sequence[Sighting] = ()
    looks: Sequence[datetime] = ()

    def as_of(self, morning: datetime) -> Watched | None:
        """What was known of it that morning; None where it was not yet found, or was known to be out."""
        if self.formed_to > morning or self.emerged_to <= morning:
            return None
        alive = max([self.formed_to, *(at for at in (*self.looks, self.emerged_from) if at <= morning)])
        stays = [stay for stay in self.stays if stay.since <= morning] or self.stays[:1]
        seen = [sighting for sighting in self.sightings if sighting.at <= morning]
        return Watched(self.formed_from, self.formed_to, alive, stays, seen)

    @property
    def is_yardstick(self) -> bool:
        """Whether its emergence is known well enough to score a forecast by."""
        return self.emerged_to - self.emerged_from <= KNOWN_WITHIN

    @property
    def finished(self) -> Finished:
        """What it teaches."""
        return Finished(
            self.formed_from, self.formed_to, self.emerged_from, self.emerged_to, self.stays, self.sightings
        )


class Mark(NamedTuple):
    """One forecast beside what happened: errors and scores in days; lead_days: from that morning to the
    forecast's median."""

    covered: bool
    error_days: float
    crps_days: float
    fixed_error_days: float
    lead_days: float


class Score(NamedTuple):
    """Many forecasts together. ratio: the score over that of the fixed-days rule; under 1 the forecast is better.
    left_out: the pupae whose emergence is not known well enough to score by."""

    n: int
    coverage: float
    median_error_days: float
    crps_days: float
    fixed_median_error_days: float
    fixed_crps_days: float
    left_out: int = 0

    @property
    def ratio(self) -> float:
        """CRPS over the fixed-days rule's."""
        return self.crps_days / self.fixed_crps_days if self.fixed_crps_days else float("inf")


def replay(
    profile: Profile, conditions: Conditions, stories: Sequence[Story], mornings: Iterable[datetime]
) -> list[Mark]:
    """A mark for every pupa of one species that hung on each of these mornings, where its emergence is known well
    enough; the others only teach."""
    from pupawatch.care.forecast import forecaster

    marks: list[Mark] = []
    lessons: Lessons = {}
    for morning in mornings:
        hanging = [(story, known) for story in stories if story.is_yardstick and (known := story.as_of(morning))]
        if not hanging:
            continue
        finished = [story.finished for story in stories if story.emerged_to <= morning]
        teller = forecaster(profile, known_by(conditions, morning), morning, finished, lessons)
        for by_heat in (True, False):
            these = [(story, known) for story, known in hanging if teller.has_heat(known) == by_heat]
            found = teller.distributions([known for _, known in these], by_heat)
            for (story, known), distribution in zip(these, found, strict=True):
                truth = likely_instant(story, conditions.sky, profile)
                marks.append(mark(distribution, truth, fixed_rule(known, profile, morning), morning))
    return marks


def known_by(conditions: Conditions, morning: datetime) -> Conditions:
    """The temperatures as they stood that morning: no later day, and none of the expected ones.

    Readings need no cutting; the forecast looks at none after its hour.
    """
    today = local_day(morning, conditions.sky.zone)
    return conditions._replace(
        temperatures={
            place: known._replace(days=[told for told in known.days if told.day < today], expected=())
            for place, known in conditions.temperatures.items()
        }
    )


def fixed_rule(known: Watched, profile: Profile, morning: datetime) -> datetime:
    """The instant that the rule of fixed days names: the middle of the usual days after formation, not before now."""
    formed = known.formed_to if known.formed_from is None else middle(known.formed_from, known.formed_to)
    return max(formed + (profile.pupal_days_low + profile.pupal_days_high) / 2 * DAY, morning)


def likely_instant(story: Story, sky: Sky, profile: Profile) -> datetime:
    """When it most likely emerged: the middle of what of the known interval lies in the emergence window, if any."""
    day = local_day(story.emerged_to, sky.zone)
    dawn, heat = sky.dawn(day), profile.heat
    since = max(story.emerged_from, dawn + timedelta(hours=heat.emergence_from_hours))
    until = min(story.emerged_to, dawn + timedelta(hours=heat.emergence_to_hours))
    missed_mornings = story.emerged_to - story.emerged_from > DAY
    return middle(story.emerged_from, story.emerged_to) if missed_mornings or since >= until else middle(since, until)


def mark(forecast: "Distribution", truth: datetime, fixed: datetime, morning: datetime) -> Mark:
    """One forecast, made that morning, beside the emergence at ``truth``; beyond the horizon counts as the horizon."""
    at = truth.timestamp() / 3600
    low, half, high = forecast.quantiles(0.1, 0.5, 0.9)
    end = float(forecast.edges[-1])
    return Mark(
        covered=(end if low is None else low) <= at and (high is None or at <= high),
        error_days=abs(at - (end if half is None else half)) / 24,
        crps_days=crps(forecast, at) / 24,
        fixed_error_days=abs(truth - fixed) / DAY,
        lead_days=((end if half is None else half) - morning.timestamp() / 3600) / 24,
    )


def crps(forecast: "Distribution", at: float) -> float:
    """The integral over time of (chance to be out by then - whether it was out)², in hours.

    Exact for the straight pieces that the distribution is made of; at: POSIX hours, not beyond the last edge.
    """
    import numpy as np

    cut = min(max(at, float(forecast.edges[0])), float(forecast.edges[-1]))
    position = int(np.searchsorted(forecast.edges, cut))
    edges = np.insert(forecast.edges, position, cut)
    below = np.insert(forecast.summed, position, float(forecast.by(np.array(cut))))
    out = np.arange(len(edges) - 1) >= position
    left, right = below[:-1] - out, below[1:] - out
    return float((np.diff(edges) * (left * left + left * right + right * right)).sum() / 3)


def summary(marks: Sequence[Mark]) -> Score | None:
    """The marks together; None where there are none."""
    if not marks:
        return None
    from statistics import fmean, median  # brings fractions and decimals along, so only where it is needed

    return Score(
        n=len(marks),
        coverage=fmean(mark.covered for mark in marks),
        median_error_days=median(mark.error_days for mark in marks),
        crps_days=fmean(mark.crps_days for mark in marks),
        fixed_median_error_days=median(mark.fixed_error_days for mark in marks),
        fixed_crps_days=fmean(mark.fixed_error_days for mark in marks),
    )


def middle(since: datetime, until: datetime) -> datetime:
    """The instant halfway."""
    return since + (until - since) / 2
