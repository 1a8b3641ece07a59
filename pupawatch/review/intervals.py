"""Rates and differences with their doubt: intervals, exact tests, and the correction for asking often.

Every number goes back to a textbook; where a formula is our own code its source stands beside it.
"""

from collections.abc import Sequence
from math import ceil, floor, sqrt
from statistics import NormalDist
from typing import NamedTuple


def effective_n(families: Sequence[tuple[int, int]]) -> float:
    """How many independent pupae tell as much as these families do, each with its hits and number; for ``wilson``.

    The number over the design effect, corrected for how few families there are (Korn & Graubard 1998, Surv. Methodol.
    24:193, from memory). The design effect is that of the families' own spread, and no less than that of a correlation
    of 0.05 within them, the planning value between published estimates for monarchs (-0.01 to 0.02 in good conditions)
    and those under stress (0.3 to 0.5).
    """
    from scipy.stats import t

    n, hits, k = sum(size for _, size in families), sum(hit for hit, _ in families), len(families)
    rate, size = hits / n, sum(size**2 for _, size in families) / n
    design = 1 + (size - 1) * _WITHIN
    if k < 2:
        return n / design
    if 0 < rate < 1:
        spread = k / (k - 1) * sum((hit - rate * size) ** 2 for hit, size in families) / n**2
        design = max(design, spread * n / (rate * (1 - rate)))
    few = (Z_95 / float(t.ppf(0.975, k - 1))) ** 2
    return min(float(n), max(1.0, few * n / design))


def wilson(hits: int, n: int, effective: float | None = None) -> tuple[float, float]:
    """The 95 % score interval of a rate, ``hits`` of ``n`` (at least 1). Wilson 1927, J. Am. Stat. Assoc. 22:209.
    effective: of how many independent ones, where pupae of one brood tell less than that.

    Written out, though scipy has it: these intervals stand on the first picture, and loading scipy takes longer
    than drawing it.
    """
    counted = effective or n
    rate, spread = hits / n, Z_95**2 / counted
    middle = (rate + spread / 2) / (1 + spread)
    reach = Z_95 * sqrt(rate * (1 - rate) / counted + spread / (4 * counted)) / (1 + spread)
    return 0.0 if hits == 0 else middle - reach, 1.0 if hits == n else middle + reach


Z_95 = NormalDist().inv_cdf(0.975)
"""95 % of a normal distribution lie within so many standard deviations, 1.959964."""

_WITHIN = 0.05
"""The least correlation within a brood that is reckoned with."""

_FAR = 12
"""So many standard deviations from the middle nothing is left that a p could show; large tables stay quick."""


class Pair(NamedTuple):
    """Two groups side by side: ``hits`` of ``n`` against ``other_hits`` of ``other_n``, both n at least 1."""

    hits: int
    n: int
    other_hits: int
    other_n: int

    @property
    def difference(self) -> float:
        """The first rate less the second."""
        return self.hits / self.n - self.other_hits / self.other_n


class Difference(NamedTuple):
    """A difference of rates with its 95 % interval, as fractions."""

    value: float
    low: float
    high: float


def difference(strata: Sequence[Pair], spread: float = 1.0) -> Difference:
    """The difference of two rates with its 95 % interval, compared within each stratum and then combined.

    One stratum: the hybrid score interval of Newcombe 1998, Stat. Med. 17:873, method 10. More: the differences
    weighed as by Mantel and Haenszel (n·m/(n+m)), their intervals combined by variance recovery (Zou & Donner
    2008, Stat. Med. 27:1693, from memory). spread: by how much pupae of one family make it vary more than independent
    ones would, a ratio of variances: the interval reaches its square root as far.
    """
    weights = [pair.n * pair.other_n / (pair.n + pair.other_n) for pair in strata]
    whole = sum(weights)
    value = below = above = 0.0
    for weight, pair in zip(weights, strata, strict=True):
        share, first, second = weight / whole, pair.hits / pair.n, pair.other_hits / pair.other_n
        low, high = wilson(pair.hits, pair.n)
        other_low, other_high = wilson(pair.other_hits, pair.other_n)
        value += share * (first - second)
        below += share**2 * ((first - low) ** 2 + (other_high - second) ** 2)
        above += share**2 * ((high - first) ** 2 + (second - other_low) ** 2)
    return Difference(value, max(-1.0, value - sqrt(spread * below)), min(1.0, value + sqrt(spread * above)))


def exact_p(strata: Sequence[Pair]) -> float:
    """Two-sided exact p of "the two rates are alike in every stratum", given how many hits each stratum had.

    One stratum: Fisher's exact test. More: the exact conditional test of a common odds ratio of 1 (the exact form
    of the Mantel-Haenszel test; Agresti, Categorical Data Analysis, section 7.3, from memory). Two-sided: the sum
    of all that is no likelier than what was seen.
    """
    import numpy as np
    from scipy.stats import hypergeom

    chances, lowest, seen = np.ones(1), 0, 0
    for pair in strata:
        hits, both = pair.hits + pair.other_hits, pair.n + pair.other_n
        fewest, most = max(0, hits - pair.other_n), min(hits, pair.n)
        middle = hits * pair.n / both
        reach = _FAR * sqrt(middle * (1 - hits / both) * pair.other_n / both) + _FAR
        counts = np.arange(max(fewest, floor(middle - reach)), min(most, ceil(middle + reach)) + 1)
        chances = np.convolve(chances, hypergeom.pmf(counts, both, hits, pair.n))
        lowest += int(counts[0])
        seen += pair.hits
    if not lowest <= seen < lowest + len(chances):
        return 0.0
    as_rare = chances[seen - lowest] * (1 + 1e-7)  # equal chances differ in the last digits
    return min(1.0, float(chances[chances <= as_rare].sum()))


def holm(p_values: Sequence[float]) -> list[float]:
    """The p-values corrected for having asked so many questions, in the same order. Holm 1979, Scand. J. Stat. 6:65."""
    corrected = [0.0] * len(p_values)
    highest = 0.0
    for rank, index in enumerate(sorted(range(len(p_values)), key=p_values.__getitem__)):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p_values[index]))
        corrected[index] = highest
    return corrected
