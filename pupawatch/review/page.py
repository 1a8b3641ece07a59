"""One page of review: everything computed for one factor, ready to be drawn as text or as a report."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.text import counted
from pupawatch.review.compare import ABOUT_MOVES, CONFOUNDED, ORDERED, Ranking, family, moved_strata, ranking
from pupawatch.review.durations import Curve, Hours, curve_of, curves, emergence_hours, emergences_by_day
from pupawatch.review.factors import FACTORS, JOIN, Season, understood
from pupawatch.review.outcomes import Counts, Rate, percent
from pupawatch.review.words import Sentence, published, sentences, too_few

ALL = "all together"


class Page(NamedTuple):
    """The review by one factor (or two).

    title: what is reviewed, in words. total, groups: the counts. ranking: the groups by shrunken estimate. said: the
    sentences. strata: success by site surface and kind of move, where moved is asked. curves: time to emergence,
    all together first. hours, days: when adults came out. published: context lines.
    """

    title: str
    by: str
    total: Counts
    groups: dict[str, Counts]
    ranking: Ranking
    said: list[Sentence]
    strata: dict[str, Rate]
    curves: dict[str, Curve]
    hours: Hours
    days: dict[date, int]
    published: list[str]
    smallest: int

    @property
    def success(self) -> dict[str, Rate]:
        """Success of each group, the ranked ones best first, then the small ones; along a scale in its own order."""
        if self.by in ORDERED:
            return {group: counts.success for group, counts in self.groups.items()} | {ALL: self.total.success}
        ranked = {standing.group: standing.rate for standing in self.ranking.standings}
        return ranked | self.ranking.too_few | {ALL: self.total.success}

    @property
    def deformity(self) -> dict[str, Rate]:
        """Deformed of those judged, group by group in their natural order, then all together."""
        return {group: counts.deformity for group, counts in self.groups.items()} | {ALL: self.total.deformity}

    @property
    def notes(self) -> list[str]:
        """What must be read beside the rates: the order they stand in, the bounds, and which groups are too small."""
        notes = []
        if len(self.ranking.standings) > 1 and self.by not in ORDERED:
            notes.append(_order(self.ranking))
        unknown = {group: c.success for group, c in (self.groups | {ALL: self.total}).items() if c.unknown}
        if unknown:
            bounds = ", ".join(f"{group} {percent(r.worst)} to {percent(r.best)}" for group, r in unknown.items())
            notes.append(f"If every unknown outcome was bad, or good: {bounds}.")
        small = too_few(self.ranking.too_few, self.smallest)
        return [*notes, small] if small else notes

    @property
    def warning(self) -> str:
        """The sentence about confounding, where the page asks about moving and no other sentence says it."""
        asks = not ABOUT_MOVES.isdisjoint(self.by.split(","))
        return CONFOUNDED if asks and not any(CONFOUNDED in sentence.words for sentence in self.said) else ""

    @property
    def losses(self) -> str:
        """What the lost ones were lost to, in words."""
        return ", ".join(f"{cause.replace('-', ' ')} {number}" for cause, number in self.total.causes.items())


def page(
    pupae: Iterable[Pupa], settings: Settings, now: datetime, by: str = "site", only: Mapping[str, str] | None = None
) -> Page:
    """Review these pupae by a factor (or two: ``site,moved``), only those in all the groups of ``only``.

    now: the instant the pupae were looked at, told in the title. Raises NotUnderstood for a factor or group that
    does not exist.
    """
    season = Season(pupae, settings).only(only or {})
    groups = season.counts(by)
    everything = curve_of(season.pupae)
    by_group = curves(season, by) if by != "week" else {}
    return Page(
        title=_title(season, by, only or {}, now),
        by=by,
        total=season.total(),
        groups=groups,
        ranking=ranking(groups, settings.care.review),
        said=sentences(season, by, family(season, by)),
        strata=_strata(season) if "moved" in by.split(",") else {},
        curves=({ALL: everything} if everything else {}) | by_group,
        hours=emergence_hours(season),
        days=emergences_by_day(season),
        published=published(settings),
        smallest=settings.care.review.smallest_group,
    )


def review_json(
    pupae: Iterable[Pupa], settings: Settings, by: str = "site", only: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """The counts and rates of each group for other programs: rates as fractions, null where there is no data."""
    season = Season(pupae, settings).only(only or {})
    rows = [_record(group, counts) for group, counts in season.counts(by).items()]
    return {"by": by, "rows": rows, "total": _record(ALL, season.total())}


def _record(group: str, counts: Counts) -> dict[str, Any]:
    fields = ("formed", "pending", "emerged", "lost", "unknown", "judged", "sound", "deformed")
    success, deformity = counts.success, counts.deformity
    return {
        "group": group,
        **{field: getattr(counts, field) for field in fields},
        "success": {**_rate(success), "worst": success.worst, "best": success.best},
        "deformity": _rate(deformity),
    }


def _rate(rate: Rate) -> dict[str, float | None]:
    low, high = rate.interval or (None, None)
    return {"rate": rate.value, "low": low, "high": high}


def _title(season: Season, by: str, only: Mapping[str, str], now: datetime) -> str:
    asked = " and ".join(FACTORS[name][0] for name in understood(by))
    filters = "".join(f", only {factor} {group}" for factor, group in only.items())
    day = now.astimezone(ZoneInfo(season.settings.zone))
    pupae = counted(len(season.pupae), "pupa", "pupae")
    return f"What the season taught, by {asked}: {pupae} up to {day.day} {day:%B %Y}{filters}"


def _strata(season: Season) -> dict[str, Rate]:
    return {
        f"{surface}{JOIN}{arm}": counts.success
        for surface, arms in moved_strata(season).items()
        for arm, counts in arms.items()
    }


def _order(ranking: Ranking) -> str:
    prior = ranking.prior
    source = "learned from your own groups" if prior.fitted else "a weak guess from published rates"
    estimates = ", ".join(f"{standing.group} {percent(standing.estimate)}" for standing in ranking.standings)
    return (
        f"In the order of shrunken estimates, where each rate is drawn towards {percent(prior.mean)} with the weight "
        f"of {prior.weight:.0f} pupae ({source}), so that luck with a few does not lead: {estimates}."
    )
