"""Comparison without self-deception: small groups are held back, differences carry their doubt, and moved against
not moved is only compared among like.
"""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from math import lgamma, sqrt
from typing import NamedTuple

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Review
from pupawatch.model.state import natural_order
from pupawatch.model.times import hours_between
from pupawatch.review import fair
from pupawatch.review.factors import JOIN, NOT_MOVED, Season, hang_at_move, understood
from pupawatch.review.fair import Told
from pupawatch.review.families import Member, asked, flipped
from pupawatch.review.intervals import Z_95, Difference, Pair, difference, exact_p, holm
from pupawatch.review.outcomes import DEFORMED, LOST, SOUND, Counts, Rate

CERTAIN = 0.035
"""A difference is claimed only where its corrected p is below this: a little stricter than 0.05, as the tests are only
nearly exact, and pages with any false claim came to 5 to 6 % of simulated seasons (``tests/bench/false_claims.py``)."""

ORDERED = frozenset({"hang", "week"})
"""Factors whose groups are cut from a scale: asked by ``Shift`` along the scale, not group by group."""

ABOUT_MOVES = frozenset({"moved", "hang", "method", "emergency"})
"""Factors that ask about moving. Where they ask about the move itself, pupae that had none stand out of the contest."""

_POWER = 0.8416
"""80 % of a normal distribution lie below so many standard deviations."""
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
    """The question whether two groups differ in success, within every stratum.

    p: of the permutation of whole families; corrected: Holm's. families: how many stand on either side. names: of the
    strata. alone_p: what p would be if all pupae were independent; together_p: if the strata were thrown together, by
    families; spread: how much more the difference varies than that of independent pupae.
    """

    about: str
    group: str
    other: str
    strata: list[Pair]
    difference: Difference
    p: float
    corrected: float = 1.0
    families: tuple[int, int] = (0, 0)
    names: tuple[str, ...] = ()
    alone_p: float = 1.0
    together_p: float = 1.0
    spread: float = 1.0

    @property
    def certain(self) -> bool:
        """Whether a difference may be claimed."""
        return self.corrected < CERTAIN

    @property
    def rate(self) -> Rate:
        return Rate(sum(pair.hits for pair in self.strata), sum(pair.n for pair in self.strata))

    @property
    def missed_under(self) -> float:
        """A true difference smaller than this would usually be missed: the one that is found in four of five such
        comparisons, by the normal approximation for two rates with the spread of these families (Fleiss, Statistical
        Methods for Rates and Proportions; from memory)."""
        n, others = self.rate.n, self.other_rate.n
        rate = (self.rate.hits + self.other_rate.hits + 1) / (n + others + 2)
        return (Z_95 + _POWER) * sqrt(self.spread * rate * (1 - rate) * (1 / n + 1 / others))

    @property
    def other_rate(self) -> Rate:
        return Rate(sum(pair.other_hits for pair in self.strata), sum(pair.other_n for pair in self.strata))


class _Question(NamedTuple):
    """Whether ``group`` differs from ``other`` by a factor, from all others where that is "", among those compared."""

    by: str
    group: str
    other: str
    compared: Sequence[Told]


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
    every = list(rates)
    large = [rate for rate in every if rate.n >= review.smallest_group]
    if len(large) >= review.fit_groups:
        return fitted_prior(large)
    # Towards the keeper's own rate: towards a rate from elsewhere an estimate may lie above every group.
    weight = review.prior_sound + review.prior_unsound
    hits, n = sum(rate.hits for rate in every), sum(rate.n for rate in every)
    mean = (hits + review.prior_sound / weight) / (n + 1)
    return Prior(mean * weight, (1 - mean) * weight, fitted=False)


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
    # Of those that are alike to a percent the larger comes first, so that a lucky few never lead.
    standings.sort(key=lambda standing: (-round(standing.estimate, 2), -standing.rate.n))
    return Ranking(prior, standings, {group: rate for group, rate in rates.items() if group not in large})


def contests(season: Season, by: str) -> list[Contest]:
    """The questions of one factor, answered (see ``_questions``). Not yet corrected: see ``family``."""
    answers = (_contest(question, season) for question in _questions(season, by))
    return [contest for contest in answers if contest is not None]


def _questions(season: Season, by: str) -> list[_Question]:
    """Each group of one factor against all the others together, where large enough; of two groups one the other.

    Only what had time to end is asked, whole families at a time, within season and species and, for what happens after
    pupation, among those alive at one age on one surface (``fair``). Pupae that were never moved stay out where the
    factor is about the move, and those of which the group is not known everywhere.
    """
    if by in ORDERED:
        return []
    compared = fair.told(fair.ended(season), "emergency" if by == "moved" else by)
    if by == "moved":
        return [_Question(by, "planned", NOT_MOVED, compared)]
    compared = [one for one in compared if not (one.group == NOT_MOVED and by in ABOUT_MOVES)]
    numbers = Counter(one.group for one in compared)
    smallest = season.settings.care.review.smallest_group
    groups = sorted(numbers, key=natural_order)
    large = [group for group in groups if min(numbers[group], len(compared) - numbers[group]) >= smallest]
    if len(groups) == 2:
        return [_Question(by, groups[0], groups[1], compared)] if large else []
    return [_Question(by, group, "", compared) for group in large]


def _contest(question: _Question, season: Season) -> Contest | None:
    """The answer; None where either side is too small once only those are left that can be compared."""
    by, group, other, compared = question
    if other:
        compared = [one for one in compared if one.group in (group, other)]
    members = list(fair.members(compared, season, by, group))
    pairs = _pairs(members)
    smallest = season.settings.care.review.smallest_group
    if sum(p.n for p in pairs.values()) < smallest or sum(p.other_n for p in pairs.values()) < smallest:
        return None
    members = [member for member in members if member.stratum in pairs]
    strata, answer = list(pairs.values()), asked(members)
    together = asked(member._replace(stratum="") for member in members).p if len(strata) > 1 else answer.p
    return Contest(
        by,
        "moved as planned" if by == "moved" else group,
        other or "all others",
        strata,
        difference(strata, answer.spread),
        answer.p,
        families=answer.families,
        names=tuple(pairs),
        alone_p=exact_p(strata),
        together_p=together,
        spread=answer.spread,
    )


def _pairs(members: Iterable[Member]) -> dict[str, Pair]:
    """The two rates of each stratum in which both sides have pupae."""
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for member in members:
        at = 0 if member.inside else 2
        counts[member.stratum][at] += member.hit
        counts[member.stratum][at + 1] += 1
    return {name: Pair(*told) for name, told in sorted(counts.items()) if told[1] and told[3]}


def moved_strata(season: Season) -> dict[str, dict[str, Counts]]:
    """Per surface of the site, the counts of those not moved, moved as planned, and moved in an emergency."""
    strata: dict[str, dict[str, Counts]] = {}
    for both, counts in season.counts("surface,emergency").items():
        surface, arm = both.rsplit(JOIN, 1)
        strata.setdefault(surface, {})[arm] = counts
    return strata


def shifts(season: Season) -> list[Shift]:
    """Hang time at the move and week of pupation against how it ended, where either side is large enough, by families
    within season and species. Not yet corrected: see ``family``."""
    old = fair.ended(season)
    found = [_along_hang(old), _along_week(old)]
    smallest = season.settings.care.review.smallest_group
    return [shift for shift in found if min(len(shift.bad), len(shift.good)) >= smallest]


def _along_hang(season: Season) -> Shift:
    """Of those judged: the hours they had hung when they were first moved."""
    told = []
    for pupa, outcome in zip(season.pupae, season.outcomes, strict=True):
        if outcome in (SOUND, DEFORMED) and (hours := hang_at_move(pupa)) is not None:
            told.append((pupa, outcome == SOUND, hours))
    return _shift("hang", told, season)


def _along_week(season: Season) -> Shift:
    """Of all that ended: how many days after the first of its season and species they pupated."""
    strata = fair.stratum_names(season, "week")
    first: dict[str, datetime] = {}
    known = []
    for pupa, outcome in zip(season.pupae, season.outcomes, strict=True):
        if pupa.formed_to is not None and (outcome in (SOUND, DEFORMED) or outcome.startswith(LOST)):
            known.append((pupa, outcome == SOUND, pupa.formed_to))
            first[strata[pupa.id]] = min(first.get(strata[pupa.id], pupa.formed_to), pupa.formed_to)
    days = [(pupa, good, hours_between(first[strata[pupa.id]], formed) / 24) for pupa, good, formed in known]
    return _shift("week", days, season)


def _shift(about: str, told: Sequence[tuple[Pupa, bool, float]], season: Season) -> Shift:
    """Pupae with whether they went well and where they lie on the scale: ranked within each stratum, and added up by
    families, each of which may as well have had the opposite sign."""
    strata, families = fair.stratum_names(season, about), fair.family_names(season)
    scores: dict[str, float] = defaultdict(float)
    for stratum in dict.fromkeys(strata[pupa.id] for pupa, _, _ in told):
        some = [one for one in told if strata[one[0].id] == stratum]
        ranks = _ranks([at for _, _, at in some])
        middle, bad = sum(ranks) / len(some), sum(not good for _, good, _ in some) / len(some)
        for (pupa, good, _), rank in zip(some, ranks, strict=True):
            scores[families[pupa.id]] += (rank - middle) * ((not good) - bad)
    bad_ones, good_ones = (sorted(at for _, good, at in told if good is side) for side in (False, True))
    return Shift(about, bad_ones, good_ones, flipped(scores[family] for family in sorted(scores))[0])


def _ranks(values: Sequence[float]) -> list[float]:
    """Each value's rank, the middle one for those that are equal."""
    order = sorted(values)
    return [(bisect_left(order, value) + bisect_right(order, value)) / 2 for value in values]


def family(season: Season, by: str, watch: Callable[[int, int], None] = lambda done, of: None) -> Family:
    """Everything one page asks: the groups of each factor in ``by``, moved against not moved, and the shifts. watch: is
    told how many of how many questions are answered."""
    factors = dict.fromkeys([*understood(by), "moved"])
    questions = [question for factor in factors for question in _questions(season, factor)]
    asked, of = [], len(questions) + 1
    for number, question in enumerate(questions, 1):
        if (contest := _contest(question, season)) is not None:
            asked.append(contest)
        watch(number, of)
    along = shifts(season)
    watch(of, of)
    p_values = holm([contest.p for contest in asked] + [shift.p for shift in along])
    return Family(
        [contest._replace(corrected=p) for contest, p in zip(asked, p_values, strict=False)],
        [shift._replace(corrected=p) for shift, p in zip(along, p_values[len(asked) :], strict=True)],
    )
