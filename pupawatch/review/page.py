"""One page of review: everything computed for one factor, ready to be said, and drawn as text or as a report."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from pupawatch.model.broods import BroodTold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.broods import Steps, losses_by_age, rates_by_source, steps_by_source
from pupawatch.review.compare import ABOUT_MOVES, ORDERED, Family, Ranking, family, moved_strata, ranking
from pupawatch.review.durations import Curve, Hours, curve_of, curves, emergence_hours, emergences_by_day
from pupawatch.review.factors import JOIN, Season
from pupawatch.review.fair import ended
from pupawatch.review.outcomes import Counts, Rate

ALL = "all together"


class Page(NamedTuple):
    """The review by one factor (or two), in numbers; ``words.review`` says them.

    season: the pupae reviewed, only those in all the groups of ``only``; now: when they were looked at. total,
    groups: the counts; ended: those of all that have had time to end, which alone the rates and the questions are
    about. ranking: the groups by shrunken estimate. family: the questions that are asked of them. strata: success
    by site surface and kind of move, where moved is asked. curves: time to emergence, all together first. hours,
    days: when adults came out. sources: from egg to release by the source of the broods, and source_rates their
    success; nothing where only some of the pupae are reviewed. ages: to what pupae were lost at which age.
    """

    season: Season
    by: str
    only: Mapping[str, str]
    now: datetime
    total: Counts
    groups: dict[str, Counts]
    ended: Counts
    ranking: Ranking
    family: Family
    strata: dict[str, Rate]
    curves: dict[str, Curve]
    hours: Hours
    days: dict[date, int]
    sources: dict[str, Steps]
    source_rates: dict[str, Rate]
    ages: dict[str, dict[str, int]]

    @property
    def success(self) -> dict[str, Rate]:
        """Success of each group, the ranked ones best first, then the small ones; along a scale in its own order."""
        if self.by in ORDERED:
            rates = {standing.group: standing.rate for standing in self.ranking.standings} | self.ranking.too_few
            return {group: rates[group] for group in self.groups if group in rates} | {ALL: self.ended.success}
        ranked = {standing.group: standing.rate for standing in self.ranking.standings}
        return ranked | self.ranking.too_few | {ALL: self.ended.success}

    @property
    def deformity(self) -> dict[str, Rate]:
        """Deformed of those judged, group by group in their natural order, then all together."""
        return {group: counts.deformity for group, counts in self.groups.items()} | {ALL: self.total.deformity}

    @property
    def asks_about_moves(self) -> bool:
        """Whether it compares moved with not moved, or one way of moving with another."""
        return not ABOUT_MOVES.isdisjoint(self.by.split(","))


def page(
    pupae: Iterable[Pupa],
    settings: Settings,
    now: datetime,
    by: str = "site",
    only: Mapping[str, str] | None = None,
    broods: Iterable[BroodTold] = (),
    watch: Callable[[int, int], None] = lambda done, of: None,
) -> Page:
    """Review these pupae by a factor (or two: ``site,moved``), only those in all the groups of ``only``.

    now: the instant the pupae were looked at. broods: those the pupae belong to. watch: is told how many of how many
    questions are answered. Raises NotUnderstood for a factor or group that does not exist.
    """
    broods = [] if only else list(broods)
    season = Season(pupae, settings, now).only(only or {})
    groups, old = season.counts(by), ended(season)
    everything = curve_of(season.pupae)
    by_group = curves(season, by) if by != "week" else {}
    return Page(
        season=season,
        by=by,
        only=only or {},
        now=now,
        total=season.total(),
        groups=groups,
        ended=old.total(),
        ranking=ranking(old.counts(by), settings.care.review),
        family=family(season, by, watch),
        strata=_strata(season) if "moved" in by.split(",") else {},
        curves=({ALL: everything} if everything else {}) | by_group,
        hours=emergence_hours(season),
        days=emergences_by_day(season),
        sources=steps_by_source(broods, settings),
        source_rates=rates_by_source(broods, settings, now),
        ages=losses_by_age(season.pupae),
    )


def review_json(
    pupae: Iterable[Pupa],
    settings: Settings,
    by: str = "site",
    only: Mapping[str, str] | None = None,
    now: datetime | None = None,
) -> dict[str, Any]:
    """The counts and rates of each group for other programs: rates as fractions, null where there is no data. ended:
    the rate among those that had had time to end by ``now``, the one the page tells."""
    season = Season(pupae, settings, now).only(only or {})
    old = ended(season)
    ends = old.counts(by)
    rows = [_record(group, counts, ends.get(group, Counts.of({}))) for group, counts in season.counts(by).items()]
    return {"by": by, "rows": rows, "total": _record(ALL, season.total(), old.total())}


def _record(group: str, counts: Counts, old: Counts) -> dict[str, Any]:
    fields = ("formed", "pending", "emerged", "lost", "unknown", "judged", "sound", "deformed")
    success, deformity = counts.success, counts.deformity
    return {
        "group": group,
        **{field: getattr(counts, field) for field in fields},
        "success": {**_rate(success), "worst": success.worst, "best": success.best},
        "deformity": _rate(deformity),
        "ended": {"n": old.success.n, "sound": old.sound, **_rate(old.success)},
    }


def _rate(rate: Rate) -> dict[str, float | None]:
    low, high = rate.interval or (None, None)
    return {"rate": rate.value, "low": low, "high": high}


def _strata(season: Season) -> dict[str, Rate]:
    return {
        f"{surface}{JOIN}{arm}": counts.success
        for surface, arms in moved_strata(season).items()
        for arm, counts in arms.items()
    }
