"""Rates, differences and tests against published examples, scipy and statsmodels."""

from itertools import product
from random import Random

import numpy as np
import pytest
from scipy.stats import betabinom, binomtest, boschloo_exact, fisher_exact, hypergeom
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from pupawatch.review.compare import Prior, fitted_prior
from pupawatch.review.intervals import Pair, difference, exact_p, holm, wilson
from pupawatch.review.outcomes import Rate


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        # Newcombe 1998, Stat. Med. 17:857, table I, method 3 (from memory).
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
        # Wilson 1927, J. Am. Stat. Assoc. 22:209, the formula worked out with a calculator.
        (1, 1, 0.2065, 1),
        (0, 1, 0, 0.7935),
        (9, 10, 0.5958, 0.9821),
        (10, 10, 0.7225, 1),
        (18, 18, 0.8241, 1),
        (23, 60, 0.2709, 0.5098),
    ],
)
def test_wilson_gives_the_published_intervals(hits: int, n: int, low: float, high: float) -> None:
    assert wilson(hits, n) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("n", [1, 2, 3, 7, 19, 40, 300])
def test_wilson_agrees_with_statsmodels_and_scipy_for_every_count(n: int) -> None:
    for hits in range(n + 1):
        assert wilson(hits, n) == pytest.approx(proportion_confint(hits, n, method="wilson"), abs=1e-12)
        assert wilson(hits, n) == pytest.approx(binomtest(hits, n).proportion_ci(method="wilson"), abs=1e-12)


def test_the_difference_is_newcombes() -> None:
    # Newcombe 1998, Stat. Med. 17:873, the example 56/70 against 48/80, method 10 (from memory).
    assert difference([Pair(56, 70, 48, 80)]) == pytest.approx((0.2000, 0.0524, 0.3339), abs=5e-5)


def test_differences_agree_with_statsmodels() -> None:
    chance = Random(3)
    for _ in range(300):
        n, m = chance.randint(1, 60), chance.randint(1, 60)
        pair = Pair(chance.randint(0, n), n, chance.randint(0, m), m)
        expected = confint_proportions_2indep(*pair, method="newcomb", compare="diff")
        assert difference([pair])[1:] == pytest.approx(expected, abs=1e-9)


def test_strata_are_weighed_as_by_mantel_and_haenszel() -> None:
    strata = [Pair(8, 10, 15, 30), Pair(4, 9, 2, 12), Pair(19, 20, 30, 41)]
    # The pooled risk difference of statsmodels is not offered; its weights are n·m/(n+m) (Greenland & Robins 1985,
    # Biometrics 41:55, from memory), so the sum is written out.
    weights = [p.n * p.other_n / (p.n + p.other_n) for p in strata]
    pooled = sum(w * (p.hits / p.n - p.other_hits / p.other_n) for w, p in zip(weights, strata, strict=True))
    found = difference(strata)
    assert found.value == pytest.approx(pooled / sum(weights))
    assert found.low < found.value < found.high


@pytest.mark.parametrize(
    ("table", "p"),
    [
        # Agresti, Categorical Data Analysis, the tea tasting, and the like-sexed twins of Fisher 1935, both as in
        # the R manual of fisher.test; two-sided p computed there and here.
        ([[3, 1], [1, 3]], 0.485714),
        ([[2, 10], [15, 3]], 0.000536724),
        # The examples of scipy's own manual of fisher_exact.
        ([[8, 2], [1, 5]], 0.0349650),
        ([[6, 2], [1, 4]], 0.1025641),
        ([[1, 9], [11, 3]], 0.00275946),
        # Small tables that a keeper meets: nine of ten against five of ten, and so on; computed with scipy 1.17.
        ([[9, 1], [5, 5]], 0.1409),
        ([[5, 0], [3, 4]], 0.0808),
        ([[10, 0], [8, 2]], 0.4737),
    ],
)
def test_one_stratum_is_fishers_exact_test(table: list[list[int]], p: float) -> None:
    (a, b), (c, d) = table
    assert exact_p([Pair(a, a + b, c, c + d)]) == pytest.approx(p, abs=6e-5 if p > 0.01 else 5e-9)


def test_one_stratum_agrees_with_scipy_at_random() -> None:
    chance = Random(5)
    for _ in range(500):
        n, m = chance.randint(1, 80), chance.randint(1, 80)
        x, y = chance.randint(0, n), chance.randint(0, m)
        expected = fisher_exact([[x, n - x], [y, m - y]]).pvalue
        assert exact_p([Pair(x, n, y, m)]) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("pair", [Pair(9, 10, 5, 10), Pair(5, 5, 3, 7), Pair(10, 10, 8, 10)])
def test_the_test_used_is_never_bolder_than_boschloos(pair: Pair) -> None:
    # Boschloo 1970, Statistica Neerlandica 24:1: the unconditional test is uniformly sharper than Fisher's. The
    # groups are the columns of scipy's table.
    table = [[pair.hits, pair.other_hits], [pair.n - pair.hits, pair.other_n - pair.other_hits]]
    assert boschloo_exact(table).pvalue < exact_p([pair])


def test_strata_are_summed_over_every_possible_table() -> None:
    # Brute force: every combination of tables with these margins, each with its hypergeometric chance.
    strata = [Pair(3, 4, 2, 6), Pair(5, 6, 3, 5), Pair(1, 3, 0, 4)]
    chances: dict[int, float] = {}
    for hits in product(*(range(p.n + 1) for p in strata)):
        chance = np.prod([
            hypergeom.pmf(k, p.n + p.other_n, p.hits + p.other_hits, p.n) for k, p in zip(hits, strata, strict=True)
        ])  # fmt: skip
        chances[sum(hits)] = chances.get(sum(hits), 0.0) + float(chance)
    seen = chances[sum(p.hits for p in strata)]
    expected = sum(chance for chance in chances.values() if chance <= seen * (1 + 1e-7))
    assert exact_p(strata) == pytest.approx(expected, abs=1e-12)


def test_strata_come_close_to_the_mantel_haenszel_test_of_statsmodels_in_large_tables() -> None:
    strata = [Pair(130, 200, 110, 200), Pair(90, 150, 80, 160), Pair(60, 100, 45, 90)]
    tables = [np.array([[p.hits, p.n - p.hits], [p.other_hits, p.other_n - p.other_hits]]) for p in strata]
    asymptotic = StratifiedTable(tables).test_null_odds(correction=True).pvalue
    assert exact_p(strata) == pytest.approx(asymptotic, rel=0.05)


FIFTEEN = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
]  # fmt: skip
"""Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57:289, the fifteen p-values of their example (from memory)."""


def test_holm_keeps_three_of_the_fifteen() -> None:
    # As Bonferroni does, while the false-discovery procedure of the same paper keeps four.
    assert sum(p < 0.05 for p in holm(FIFTEEN)) == 3
    assert sum(multipletests(FIFTEEN, method="fdr_bh")[0]) == 4


def test_holm_agrees_with_statsmodels() -> None:
    chance = Random(11)
    assert holm(FIFTEEN) == pytest.approx(multipletests(FIFTEEN, method="holm")[1])
    for size in range(1, 30):
        p_values = [chance.choice([chance.random(), chance.random() ** 6, 0.5]) for _ in range(size)]
        assert holm(p_values) == pytest.approx(multipletests(p_values, method="holm")[1], abs=1e-12)
    assert holm([]) == []


@pytest.mark.parametrize(("hits", "n", "shrunken"), [(4, 10, 0.2637), (300, 1000, 0.2905)])
def test_shrinkage_is_the_posterior_mean_of_a_beta_prior(hits: int, n: int, shrunken: float) -> None:
    # Robinson, Empirical Bayes estimation (essay): batting averages with Beta(78.7, 224.9), parameters from memory.
    assert Prior(78.7, 224.9, fitted=True).shrunken(Rate(hits, n)) == pytest.approx(shrunken, abs=5e-5)


def test_the_fitted_weight_is_the_likeliest_of_a_beta_binomial_grid() -> None:
    rates = [Rate(20, 22), Rate(5, 5), Rate(30, 40), Rate(12, 13), Rate(8, 14), Rate(40, 41)]
    prior = fitted_prior(rates)
    hits, n = zip(*((rate.hits, rate.n) for rate in rates), strict=True)

    def likelihood(weight: float) -> float:
        return float(betabinom.logpmf(hits, n, prior.mean * weight, (1 - prior.mean) * weight).sum())

    best = max(np.geomspace(2, 1000, 4000), key=likelihood)
    assert prior.weight == pytest.approx(best, rel=0.03)
    assert prior.mean == pytest.approx(115.5 / 136)


def test_a_prior_is_found_again_from_many_groups_drawn_from_it() -> None:
    chance = np.random.default_rng(2)
    drawn = betabinom.rvs(30, 17, 3, size=400, random_state=chance)
    prior = fitted_prior(Rate(int(hits), 30) for hits in drawn)
    assert prior.mean == pytest.approx(0.85, abs=0.01)
    assert prior.weight == pytest.approx(20, rel=0.25)
