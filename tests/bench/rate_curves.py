"""Which rate curve foretells a temperature it was not fitted on? Prints the table of care/forecast/development.py.

    python -m tests.bench.rate_curves

Data: pupal days of monarchs at five constant temperatures, Ragonese, Sarkar, Hall & Altizer, experiment of 2019, Proc.
R. Soc. B 2024. Each temperature is left out in turn. Of every curve one number is free (the base, or the temperature of
half the greatest rate, on a grid with a weak prior) and the need; both are fitted to the mean log days of the other
four temperatures, with an error of 10 % between settings and 5 % between pupae, and all pupae left out are scored.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

Array = NDArray[np.float64]
Rate = Callable[[float, float], float]

EXPERIMENT = {
    18: {18: 1, 19: 15, 20: 29, 21: 22, 22: 5, 23: 1},
    22: {12: 2, 13: 26, 14: 39, 15: 6},
    26: {7: 3, 8: 69, 9: 2},
    30: {6: 33, 7: 41, 8: 1},
    34: {5: 1, 6: 35, 7: 6},
}
CAP_C, REFERENCE_C, REFERENCE_DAYS = 33.0, 22.0, 12.2
BETWEEN, WITHIN, WEAK = 0.10, 0.05, 0.30


class Curve(NamedTuple):
    """A family of rates of temperature and one free number, with the grid and the prior of that number."""

    name: str
    rate: Rate
    grid: Array
    mean: float
    sd: float


def _line(c: float, base: float) -> float:
    return max(0.0, min(c, CAP_C) - base)


def _rounded(softness: float) -> Rate:
    return lambda c, base: float(
        softness * (np.logaddexp(0, (c - base) / softness) - np.logaddexp(0, (c - CAP_C) / softness))
    )


def _briere(c: float, base: float) -> float:
    return float(c * max(0.0, c - base) * (42 - c) ** 0.5)


def _root(c: float, base: float) -> float:
    return max(0.0, min(c, CAP_C) - base) ** 2


def _limited_root(c: float, base: float) -> float:
    return float(max(0.0, c - base) * -np.expm1(0.2 * (c - 42))) ** 2


def _logistic(c: float, middle: float) -> float:
    return float(1 / (1 + np.exp(-0.2 * (c - middle))))


_BASES, _LOW_BASES = np.linspace(5, 17, 49), np.linspace(-5, 14, 49)
CURVES = [
    Curve("straight line, base free, cap 33 °C", _line, _BASES, 11.5, 2.5),
    *(Curve(f"rounded line, softness {s} °C", _rounded(s), _BASES, 11.5, 2.5) for s in (2, 3, 4)),
    Curve("logistic (Davidson), 0.2 a °C", _logistic, np.linspace(18, 30, 49), 24, 100),
    Curve("square root, straight, cap 33 °C", _root, np.linspace(-5, 12, 49), 4, 4),
    Curve("square root with upper limit 42 °C", _limited_root, _LOW_BASES, 4, 4),
    Curve("Briere, upper limit 42 °C", _briere, _BASES, 9, 3),
]


def scored(curve: Curve, left_out: int) -> tuple[float, float]:
    """Mean log score and mean CRPS in days of the pupae at the temperature left out."""
    fitted = [c for c in EXPERIMENT if c != left_out]
    log_days = np.array([np.log(_mean(EXPERIMENT[c])) for c in fitted])
    errors = np.array([BETWEEN**2 + WITHIN**2 / sum(EXPERIMENT[c].values()) for c in fitted])
    weights, means, sds = [], [], []
    for free in curve.grid:
        needs = log_days + np.log([max(curve.rate(c, free), 1e-12) for c in fitted])
        expected = np.log(REFERENCE_DAYS * max(curve.rate(REFERENCE_C, free), 1e-12))
        covariance = np.diag(errors) + WEAK**2
        off = needs - expected
        likelihood = -0.5 * off @ np.linalg.solve(covariance, off) - 0.5 * np.linalg.slogdet(covariance)[1]
        weights.append(likelihood - 0.5 * ((free - curve.mean) / curve.sd) ** 2)
        precision = 1 / WEAK**2 + (1 / errors).sum()
        need = (expected / WEAK**2 + (needs / errors).sum()) / precision
        means.append(need - np.log(max(curve.rate(left_out, free), 1e-12)))
        sds.append(np.sqrt(1 / precision + BETWEEN**2 + WITHIN**2))
    share = np.exp(np.array(weights) - max(weights))
    share /= share.sum()

    def by(days: Array) -> Array:
        past = (np.log(np.maximum(days, 1e-9))[:, None] - np.array(means)) / np.array(sds)
        return np.asarray(norm.cdf(past) @ share)

    # Only dates are known: a pupa of d days took d - 1 to d + 1.
    hour = (np.arange(40) + 0.5) / 40
    counts, pupae = EXPERIMENT[left_out], sum(EXPERIMENT[left_out].values())
    log_score = sum(n * np.log((by(d + 1 - hour) - by(d - hour)).mean()) for d, n in counts.items()) / pupae
    fine = np.linspace(0.05, 80, 8000)
    chance = by(fine)
    crps = sum(n * np.trapezoid((chance - (fine >= d)) ** 2, fine) for d, n in counts.items()) / pupae
    return float(log_score), float(crps)


def _mean(counts: dict[int, int]) -> float:
    return sum(days * n for days, n in counts.items()) / sum(counts.values())


def main() -> None:
    """Print the table."""
    print(f"{'curve':40}{'mean log score':>16}{'CRPS, days':>12}")
    for curve in CURVES:
        scores = np.array([scored(curve, celsius) for celsius in EXPERIMENT])
        print(f"{curve.name:40}{scores[:, 0].mean():16.3f}{scores[:, 1].mean():12.3f}")


if __name__ == "__main__":
    main()
