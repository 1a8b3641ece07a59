"""The interval-censored curve against a published result, lifelines, and the textbook's simplest case."""

from math import inf
from random import Random

import numpy as np
import pytest
from lifelines import KaplanMeierFitter

from pupawatch.review.durations import Curve, Lifetime, curve

RADIOTHERAPY = (
    "45-, 6 10, 0 7, 46-, 46-, 7 16, 17-, 7 14, 37 44, 0 8, 4 11, 15-, 11 15, 22-, 46-, 46-, 25 37, 46-, 26 40, 46-, "
    "27 34, 36 44, 46-, 36 48, 37-, 40-, 17 25, 46-, 11 18, 38-, 5 12, 37-, 0 5, 18-, 24-, 36-, 5 11, 19 35, 17 25, "
    "24-, 32-, 33-, 19 26, 37-, 34-, 36-"
)
"""The 46 patients with radiotherapy only of Finkelstein & Wolfe 1985, Biometrics 41:933, as months (after, by]."""


def intervals(text: str) -> list[Lifetime]:
    pieces = [piece.strip() for piece in text.split(",")]
    return [
        Lifetime(float(p[:-1]), inf) if p.endswith("-") else Lifetime(*(float(end) for end in p.split()))
        for p in pieces
    ]


def drawn(lifetimes: list[Lifetime]) -> Curve:
    found = curve(lifetimes)
    assert found is not None
    return found


def test_turnbulls_curve_of_the_cosmetic_trial_is_the_published_one() -> None:
    # Printed by Fay & Shaw 2010, J. Stat. Softw. 36(2), doi:10.18637/jss.v036.i02.
    assert [(step.over, step.up_to, round(step.share, 4)) for step in drawn(intervals(RADIOTHERAPY)).steps] == [
        (4, 5, 0.0463),
        (6, 7, 0.0334),
        (7, 8, 0.0887),
        (11, 12, 0.0708),
        (24, 25, 0.0926),
        (33, 34, 0.0818),
        (38, 40, 0.1209),
        (46, 48, 0.4656),
    ]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_it_agrees_with_lifelines(seed: int) -> None:
    chance = Random(seed)
    lifetimes = []
    for _ in range(60):
        formed, out = chance.randrange(0, 12), chance.gauss(250, 15)
        over = int(out) - formed - chance.randrange(0, 24)
        lifetimes.append(Lifetime(over, inf) if chance.random() < 0.1 else Lifetime(over, over + 12 + formed))
    found = drawn(lifetimes)
    # lifelines takes closed intervals, so left ends are nudged to open them.
    fitter = KaplanMeierFitter().fit_interval_censoring(
        np.array([life.over + 1e-6 for life in lifetimes]), np.array([life.up_to for life in lifetimes]), tol=1e-9
    )
    known = fitter.survival_function_
    for step in found.steps:
        if step.up_to < inf:
            theirs = known[known.index <= step.up_to + 1e-3].iloc[-1]
            assert (
                theirs["NPMLE_estimate_lower"] - 2e-3
                <= found.still(step.up_to)
                <= theirs["NPMLE_estimate_upper"] + 2e-3
            )


def test_with_moments_instead_of_intervals_it_is_kaplan_and_meiers_curve() -> None:
    # The 21 patients on 6-MP of Freireich et al. 1963, Blood 21:699, printed in Le, Introductory Biostatistics,
    # example 11.1; weeks with 0.5 taken off the left end stand for moments known to the week.
    events, cut_short = [6, 6, 6, 7, 10, 13, 16, 22, 23], [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    lifetimes = [Lifetime(week - 1, week) for week in events] + [Lifetime(week, inf) for week in cut_short]
    found = drawn(lifetimes)
    published = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    assert {week: found.still(week) for week in published} == pytest.approx(published, abs=5e-5)
    median = found.median()
    assert median is not None
    assert median.up_to == 23


def test_the_band_covers_the_greenwood_interval_of_lifelines_roughly() -> None:
    # A resampled band and Greenwood's formula are two ways to the same doubt; they agree to a few points in a
    # sample without censoring, where the truth is binomial.
    lifetimes = [Lifetime(week, week + 1) for week in range(40)]
    found = drawn(lifetimes)
    fitter = KaplanMeierFitter().fit([life.up_to for life in lifetimes])
    greenwood = fitter.confidence_interval_survival_function_
    for week in (10, 20, 30):
        assert found.band(week) == pytest.approx(tuple(greenwood.loc[week]), abs=0.06)
