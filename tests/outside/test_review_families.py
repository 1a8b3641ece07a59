"""Tests by whole families against independent reckonings: every deal counted by hand, and statsmodels' GEE."""

import warnings
from itertools import combinations
from random import Random

import numpy as np
import pytest
from scipy.stats import fisher_exact

from pupawatch.review.families import Member, asked, flipped
from pupawatch.review.intervals import effective_n, wilson


def members(*families: tuple[str, bool, int, int], stratum: str = "s") -> list[Member]:
    """Families by name, side, hits and n."""
    return [Member(name, stratum, inside, number < hits) for name, inside, hits, n in families for number in range(n)]


def brute_force(families: list[tuple[str, bool, int, int]]) -> float:
    """The p of whole families dealt out anew, from the definition alone: all ways to choose which are inside."""
    rate = sum(hits for _, _, hits, _ in families) / sum(n for _, _, _, n in families)
    surplus = [hits - n * rate for _, _, hits, n in families]
    inside = [number for number, one in enumerate(families) if one[1]]
    seen = abs(sum(surplus[number] for number in inside))
    ways = list(combinations(range(len(families)), len(inside)))
    return sum(abs(sum(surplus[number] for number in way)) >= seen - 1e-9 for way in ways) / len(ways)


@pytest.mark.parametrize("seed", range(30))
def test_whole_families_dealt_out_agree_with_brute_force(seed: int) -> None:
    draw = Random(seed)
    families = []
    for number in range(draw.randint(4, 10)):
        n = draw.randint(2, 12)
        families.append((f"F{number}", number % 2 == 0, draw.randint(0, n), n))
    assert asked(members(*families)).p == pytest.approx(brute_force(families))


@pytest.mark.parametrize("table", [((3, 7), (9, 12)), ((74, 95), (183, 198)), ((5, 5), (1, 6)), ((10, 20), (10, 20))])
def test_pupae_of_a_brood_each_make_fishers_exact_test(table: tuple[tuple[int, int], tuple[int, int]]) -> None:
    """scipy.stats.fisher_exact, two-sided."""
    (hits, n), (other_hits, other_n) = table
    told = [(f"A{i}", True, int(i < hits), 1) for i in range(n)]
    told += [(f"B{i}", False, int(i < other_hits), 1) for i in range(other_n)]
    expected = fisher_exact([[hits, n - hits], [other_hits, other_n - other_hits]]).pvalue
    assert asked(members(*told)).p == pytest.approx(expected)
    mixed = members(("one", True, hits, n), ("one", False, other_hits, other_n))
    assert asked(mixed).p == pytest.approx(expected)  # one family on both sides: its members are compared


def test_the_random_deals_agree_with_a_gee_that_knows_the_families() -> None:
    """statsmodels' GEE with exchangeable correlation, robust errors: over many seasons the two p differ little."""
    import statsmodels.api as sm

    draw, gaps = np.random.default_rng(3), []
    for _ in range(25):
        told, rows = [], []
        for number in range(24):
            inside, rate = number % 2 == 0, draw.beta(6.8, 1.2)
            n = int(draw.integers(6, 12))
            hits = int(draw.binomial(n, rate))
            told.append((f"F{number}", inside, hits, n))
            rows += [(hit < hits, inside, number) for hit in range(n)]
        y, x, groups = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fitted = sm.GEE(
                y, sm.add_constant(x), groups=groups, family=sm.families.Binomial(),
                cov_struct=sm.cov_struct.Exchangeable(),
            ).fit()  # fmt: skip
        gaps.append(abs(float(fitted.pvalues[1]) - asked(members(*told)).p))
    assert float(np.median(gaps)) < 0.06


def test_families_that_spread_widen_what_is_told() -> None:
    alike = [(f"F{n}", n % 2 == 0, 8, 10) for n in range(12)]
    apart = [(f"F{n}", n % 2 == 0, (2, 10)[n % 3 > 0], 10) for n in range(12)]
    assert asked(members(*alike)).spread == 1.0
    assert asked(members(*apart)).spread > 3


def test_the_fewest_families_can_give_no_small_p() -> None:
    answer = asked(members(("A", True, 0, 20), ("B", False, 20, 20)))
    assert (answer.p, answer.families) == (1.0, (1, 1))
    two = asked(members(("A", True, 0, 20), ("C", True, 0, 20), ("B", False, 20, 20), ("D", False, 20, 20)))
    assert two.p == pytest.approx(2 / 6)


def test_strata_are_dealt_out_each_by_itself() -> None:
    good = members(*((f"A{n}", n < 4, 10, 10) for n in range(6)), stratum="good year")
    bad = members(*((f"B{n}", n < 2, 5, 10) for n in range(6)), stratum="bad year")
    assert asked([*good, *bad]).p == 1.0
    assert asked([one._replace(stratum="") for one in (*good, *bad)]).p < 0.7


def test_sign_flips_agree_with_all_signs_counted() -> None:
    scores = [1.0, -0.5, 2.0, 0.25, 1.5]
    every = [sum(sign * score for sign, score in zip(signs, scores, strict=True)) for signs in _signs(len(scores))]
    seen = abs(sum(scores))
    assert flipped(scores) == (pytest.approx(sum(abs(one) >= seen - 1e-9 for one in every) / len(every)), 5)
    assert flipped([]) == (1.0, 0)


def _signs(n: int) -> list[tuple[int, ...]]:
    return [()] if n == 0 else [(sign, *rest) for sign in (-1, 1) for rest in _signs(n - 1)]


# -- the interval of one rate


def test_broods_of_one_and_broods_alike_widen_little() -> None:
    alone = [(1, 1)] * 40 + [(0, 1)] * 10
    # 50 times 49/50, and t with 49 degrees of freedom where the normal distribution stood.
    assert effective_n(alone) == pytest.approx(49 * (1.959964 / 2.009575) ** 2, rel=1e-4)
    assert effective_n([(8, 10)] * 12) < 120 / (1 + 9 * 0.05)


def test_the_design_effect_agrees_with_a_linearised_variance() -> None:
    """statsmodels' OLS of the outcome on a constant, its variance clustered by brood, with the same k/(k - 1)."""
    import statsmodels.api as sm

    families = [(9, 10), (3, 12), (11, 11), (5, 9), (8, 10), (2, 8), (10, 12)]
    y = np.array([float(i < hits) for hits, n in families for i in range(n)])
    groups = np.array([number for number, (_, n) in enumerate(families) for _ in range(n)])
    fitted = sm.OLS(y, np.ones(len(y))).fit(cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False})
    k, rate = len(families), y.mean()
    variance = float(fitted.cov_params()[0, 0]) * k / (k - 1)
    expected = rate * (1 - rate) / variance * (1.959964 / 2.446912) ** 2  # t with 6 degrees of freedom
    assert effective_n(families) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("broods", "size", "correlation"), [(6, 7, 0.0), (6, 20, 0.3), (12, 10, 0.1), (9, 20, 0.3)])
def test_intervals_with_recorded_broods_cover_the_true_rate(broods: int, size: int, correlation: float) -> None:
    """Simulated, rates from 0.5 to 0.95, each brood's rate from a Beta distribution of that correlation."""
    draw, covered, seasons = np.random.default_rng(11), 0, 500
    for _ in range(seasons):
        truth = draw.uniform(0.5, 0.95)
        weight = 1 / correlation - 1 if correlation else 0.0
        rates = draw.beta(truth * weight, (1 - truth) * weight, broods) if correlation else np.full(broods, truth)
        families = [(int(hits), size) for hits in draw.binomial(size, rates)]
        low, high = wilson(sum(hits for hits, _ in families), broods * size, effective_n(families))
        covered += low <= truth <= high
    assert covered / seasons >= 0.92  # the goal is 0.93 on average; 500 seasons are sure to 0.01
