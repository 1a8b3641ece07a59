"""Comparison without self-deception: small groups are held back, differences carry their doubt, and moved against
not moved is only compared among like.
"""

from collections.abc import Iterable, Mapping
from math import lgamma
from typing import NamedTuple

from pupawatch.model.settings import Review
from pupawatch.model.times import hours_between
from pupawatch.review.factors import JOIN, NOT_KNOWN, NOT_MOVED, Season, hang_at_move, understood
from pupawatch.review.intervals import Difference, Pair, difference, exact_p, holm, shift_p
from pupawatch.review.outcomes import DEFORMED, LOST, SOUND, Counts, Rate

CERTAIN = 0.05
"""A difference is claimed only where its corrected p is below this."""

ORDERED = frozenset({"hang", "week"})
"""Factors whose groups are cut from a scale: asked by ``Shift`` along the scale, not group by group."""

ABOUT_MOVES = frozenset({"moved", "hang", "method", "emergency"})
"""Factors that ask about moving. Where they ask about the move itself, pupae that had none stand out of the contest."""

_WEIGHTS = [2 * 500 ** (step / 200) for step in range(201)]


class Prior(NamedTuple):
    """What a success rate is taken to be before a group has shown anything: a Beta distribution."""

    alpha: float
    beta: float
    fitted: bool

    @property
    def mean(self) -> float:
        return self.alpha / (self.alpha + self.beta)

    @property
    def weight(self) -> float:
        """The number of pupae it weighs as much as."""
        return self.alpha + self.beta

    def shrunken(self, rate: Rate) -> float:
        """The estimate of a group's rate: its own, drawn towards the prior the more the smaller it is."""
        return (rate.hits + self.alpha) / (rate.n + self.weight)


class Standing(NamedTuple):
    """A group in the ranking: its own rate, and the shrunken estimate it is ranked by."""

    group: str
    rate: Rate
    estimate: float


class Ranking(NamedTuple):
    """Groups by shrunken estimate, best first; those too small to say anything about stand apart, unranked."""

    prior: Prior
    standings: list[Standing]
    too_few: dict[str, Rate]


class Contest(NamedTuple):
    """The question whether two groups differ in success, within every stratum. p is exact; corrected is Holm's."""

    about: str
    group: str
    other: str
    strata: list[Pair]
    difference: Difference
    p: float
    corrected: float = 1.0

    @property
    def certain(self) -> bool:
        """Whether a difference may be claimed."""
        return self.corrected < CERTAIN

    @property
    def rate(self) -> Rate:
        return Rate(sum(pair.hits for pair in self.strata), sum(pair.n for pair in self.strata))

    @property
    def other_rate(self) -> Rate:
        return Rate(sum(pair.other_hits for pair in self.strata), sum(pair.other_n for pair in self.strata))


class Shift(NamedTuple):
    """The question whether those that went badly lie earlier or later on a scale. p is that of the rank test.

    ``hang``: certain hours of hang time at the first move, deformed against sound. ``week``: days from the first
    pupation of the season, deformed and lost against sound.
    """

    about: str
    bad: list[float]
    good: list[float]
    p: float
    corrected: float = 1.0

    @property
    def certain(self) -> bool:
        """Whether a shift may be claimed."""
        return self.corrected < CERTAIN


class Family(NamedTuple):
    """All the questions one page asks, with p corrected for having asked them all (Holm)."""

    contests: list[Contest]
    shifts: list[Shift]

    @property
    def size(self) -> int:
        return len(self.contests) + len(self.shifts)


def prior_for(rates: Iterable[Rate], review: Review) -> Prior:
    """The prior fitted to the keeper's own groups where enough of them are large enough, else the weak one set."""
    large = [rate for rate in rates if rate.n >= review.smallest_group]
    if len(large) < review.fit_groups:
        return Prior(review.prior_sound, review.prior_unsound, fitted=False)
    return fitted_prior(large)


def fitted_prior(rates: Iterable[Rate]) -> Prior:
    """The Beta distribution that the rates of these groups come from, as far as they tell.

    Its mean is that of all groups together (with half a pupa added on either side, so that groups without any
    failure do not make it certain); its weight is the likeliest under the beta-binomial distribution, found to 3 %
    and held between 2 and 1000 pupae, since groups that look all alike would make it endless.
    """
    large = list(rates)
    mean = (sum(rate.hits for rate in large) + 0.5) / (sum(rate.n for rate in large) + 1)

    def likelihood(weight: float) -> float:
        alpha, beta = mean * weight, (1 - mean) * weight
        return sum(_log_beta(r.hits + alpha, r.n - r.hits + beta) - _log_beta(alpha, beta) for r in large)

    weight = max(_WEIGHTS, key=likelihood)
    return Prior(mean * weight, (1 - mean) * weight, fitted=True)


def _log_beta(alpha: float, beta: float) -> float:
    return lgamma(alpha) + lgamma(beta) - lgamma(alpha + beta)


def ranking(groups: Mapping[str, Counts], review: Review) -> Ranking:
    """The groups by shrunken success rate; one of one never leads, for it is not ranked at all."""
    rates = {group: counts.success for group, counts in groups.items()}
    prior = prior_for(rates.values(), review)
    large = {group: rate for group, rate in rates.items() if rate.n >= review.smallest_group}
    standings = [Standing(group, rate, prior.shrunken(rate)) for group, rate in large.items()]
    standings.sort(key=lambda standing: (-standing.estimate, -standing.rate.n))
    return Ranking(prior, standings, {group: rate for group, rate in rates.items() if group not in large})


def contests(season: Season, by: str) -> list[Contest]:
    """Each group of one factor against all the others together, where large enough; of two groups one the other.

    Not yet corrected: see ``family``. Pupae that were never moved stay out where the factor is about the move,
    and those of which the group is not known stay out everywhere. ``moved`` is compared by ``moved_contest``.
    """
    if by in ORDERED:
        return []
    if by == "moved":
        contest = moved_contest(season)
        return [contest] if contest else []
    rates = {group: counts.success for group, counts in season.counts(by).items() if not _outside(by, group)}
    smallest = season.settings.care.review.smallest_group
    hits, n = sum(rate.hits for rate in rates.values()), sum(rate.n for rate in rates.values())
    known = [group for group, rate in rates.items() if rate.n]
    found = []
    for group, rate in rates.items():
        others = n - rate.n
        if rate.n < smallest or others < smallest:
            continue
        pair = [Pair(rate.hits, rate.n, hits - rate.hits, others)]
        other = next(name for name in known if name != group) if len(known) == 2 else "all others"
        found.append(Contest(by, group, other, pair, difference(pair), exact_p(pair)))
        if len(known) == 2:
            break
    return found


def moved_strata(season: Season) -> dict[str, dict[str, Counts]]:
    """Per surface of the site, the counts of those not moved, moved as planned, and moved in an emergency."""
    strata: dict[str, dict[str, Counts]] = {}
    for both, counts in season.counts("surface,emergency").items():
        surface, arm = both.rsplit(JOIN, 1)
        strata.setdefault(surface, {})[arm] = counts
    return strata


def moved_contest(season: Season) -> Contest | None:
    """Moved as planned against not moved, compared within each site surface; None where either side is too small.

    Emergencies are left out: those pupae were in trouble before anybody moved them.
    """
    pairs = []
    for arms in moved_strata(season).values():
        if "planned" in arms and NOT_MOVED in arms:
            moved, left = arms["planned"].success, arms[NOT_MOVED].success
            if moved.n and left.n:
                pairs.append(Pair(moved.hits, moved.n, left.hits, left.n))
    smallest = season.settings.care.review.smallest_group
    if sum(pair.n for pair in pairs) < smallest or sum(pair.other_n for pair in pairs) < smallest:
        return None
    return Contest("moved", "moved as planned", NOT_MOVED, pairs, difference(pairs), exact_p(pairs))


def shifts(season: Season) -> list[Shift]:
    """Hang time at the move and week of pupation against how it ended, where either side is large enough.

    Not yet corrected: see ``family``.
    """
    scales: dict[str, tuple[list[float], list[float]]] = {"hang": ([], []), "week": ([], [])}
    start = min((pupa.formed_to for pupa in season.pupae if pupa.formed_to), default=None)
    for pupa, outcome in zip(season.pupae, season.outcomes, strict=True):
        good = outcome == SOUND
        if outcome in (SOUND, DEFORMED) and (hours := hang_at_move(pupa)) is not None:
            scales["hang"][good].append(hours)
        if (good or outcome == DEFORMED or outcome.startswith(LOST)) and start and pupa.formed_to:
            scales["week"][good].append(hours_between(start, pupa.formed_to) / 24)
    smallest = season.settings.care.review.smallest_group
    return [
        Shift(about, bad, good, shift_p(bad, good))
        for about, (bad, good) in scales.items()
        if min(len(bad), len(good)) >= smallest
    ]


def family(season: Season, by: str) -> Family:
    """Everything one page asks: the groups of each factor in ``by``, moved against not moved, and the shifts."""
    factors = dict.fromkeys([*understood(by), "moved"])
    asked = [contest for factor in factors for contest in contests(season, factor)]
    along = shifts(season)
    p_values = holm([contest.p for contest in asked] + [shift.p for shift in along])
    return Family(
        [contest._replace(corrected=p) for contest, p in zip(asked, p_values, strict=False)],
        [shift._replace(corrected=p) for shift, p in zip(along, p_values[len(asked) :], strict=True)],
    )


def _outside(by: str, group: str) -> bool:
    return group == NOT_KNOWN or (group == NOT_MOVED and by in ABOUT_MOVES)
