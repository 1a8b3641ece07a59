"""Degree-days, checked against published tables and against numerical integration by scipy."""

from math import cos, inf, pi

import pytest
from scipy.integrate import quad

from pupawatch.care.forecast.degree_days import (
    average,
    double_sine,
    double_triangle,
    logged_day,
    modified_average,
    sine,
    triangle,
)

# Zalom et al. 1983, Degree-days: the calculation and use of heat units in pest management, UC DANR Leaflet 21373,
# table 7 (°F, lower threshold 55, upper 90): minimum, maximum, next minimum; single and double triangle, single and
# double sine. The table was seen as the test data of the R package degday.
ZALOM = [
    (96, 110, 91, 35.00, 35.00, 35.00, 35.00),
    (91, 105, 96, 35.00, 35.00, 35.00, 35.00),
    (45, 54, 38, 0, 0, 0, 0),
    (38, 50, 45, 0, 0, 0, 0),
    (60, 80, 75, 15.00, 18.75, 15.00, 18.75),
    (75, 88, 60, 26.50, 22.75, 26.50, 22.75),
    (50, 82, 45, 11.39, 10.62, 11.85, 11.31),
    (45, 70, 50, 4.50, 5.06, 5.31, 5.70),
    # Printed 24.88 for the double triangle: a misprint, as the single triangles of 60-100 (23.75) and 75-100 (30.5)
    # show whose mean it is.
    (60, 100, 75, 23.75, 27.125, 22.82, 26.26),
    (75, 95, 60, 29.38, 25.76, 28.91, 25.30),
    (50, 101, 48, 19.56, 19.19, 18.95, 18.69),
    (48, 95, 50, 16.76, 17.13, 16.96, 17.23),
]

# McMaster & Wilhelm 1997, Agric. Forest Meteorol. 87:291-300, table 1 (°C, base 0): maximum, minimum, method 1, 2.
MCMASTER = [
    (20, 10, 15, 15),
    (10, 1, 5.5, 5.5),
    (8, -2, 3, 4),
    (6, 0, 3, 3),
    (10, 5, 7.5, 7.5),
    (5, -5, 0, 2.5),
    (-2, -7, 0, 0),
    (-5, -10, 0, 0),
    (10, -2, 4, 5),
    (15, 2, 8.5, 8.5),
]

# Expected values in the tests of the R package TrenchR (°C, lower 12, upper 33): minimum, maximum, degree-days. Three
# more values there (single sine 35-40, double triangle 13-32 and 13-40) contradict the formulas and are left out.
TRENCHR_SINE = [(7, 14, 0.47), (7, 10, 0), (13, 14, 1.5), (13, 40, 12.94), (7, 40, 10.94), (7, 20, 2.87), (35, 40, 21)]
TRENCHR_TRIANGLE = [(7, 14, 0.29), (13, 40, 13.59), (7, 40, 11.14), (7, 20, 2.46), (35, 40, 21)]

DAYS = [(8, 20), (15, 28), (20, 36), (5, 14), (2, 40), (34, 38), (18, 18), (-5, 5), (11.5, 33)]


@pytest.mark.parametrize("row", ZALOM)
def test_triangles_and_sines_are_those_of_the_leaflet(row: tuple[float, ...]) -> None:
    """Zalom et al. 1983, table 7; printed to two places, so to 0.0051."""
    low, high, next_low, *expected = row
    ours = [
        triangle(low, high, 55, 90),
        double_triangle(low, high, next_low, 55, 90),
        sine(low, high, 55, 90),
        double_sine(low, high, next_low, 55, 90),
    ]
    assert ours == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(("high", "low", "first", "second"), MCMASTER)
def test_both_averages_are_those_of_the_paper(high: float, low: float, first: float, second: float) -> None:
    """McMaster & Wilhelm 1997, table 1."""
    assert average(low, high, 0) == pytest.approx(first)
    assert modified_average(low, high, 0) == pytest.approx(second)


def test_the_average_agrees_with_two_printed_examples() -> None:
    """University of California IPM (mean 64 °F, base 53) and Western Regional Climate Center (95 and 51, base 60)."""
    assert average(64, 64, 53) == pytest.approx(11)
    assert average(51, 95, 60) == pytest.approx(13)


@pytest.mark.parametrize(("low", "high", "expected"), TRENCHR_SINE)
def test_the_sine_is_that_of_a_second_package(low: float, high: float, expected: float) -> None:
    """TrenchR's tests, printed to two places."""
    assert sine(low, high, 12, 33) == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(("low", "high", "expected"), TRENCHR_TRIANGLE)
def test_the_triangle_is_that_of_a_second_package(low: float, high: float, expected: float) -> None:
    """TrenchR's tests, printed to two places."""
    assert triangle(low, high, 12, 33) == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(("low", "high"), DAYS)
@pytest.mark.parametrize(("base", "cap"), [(11.5, 33), (10, inf), (4, 30)])
def test_the_sine_is_the_integral_of_a_sine_held_between_the_thresholds(
    low: float, high: float, base: float, cap: float
) -> None:
    """scipy.integrate.quad over one day."""
    mean, swing = (low + high) / 2, (high - low) / 2

    def above(day: float) -> float:
        return min(max(mean - swing * cos(2 * pi * day), base), cap) - base

    assert sine(low, high, base, cap) == pytest.approx(quad(above, 0, 1, limit=400)[0], abs=1e-5)


@pytest.mark.parametrize(("low", "high"), DAYS)
def test_a_logged_day_is_the_integral_of_its_temperature(low: float, high: float) -> None:
    """scipy.integrate.quad on a day that swings unevenly; readings every five minutes."""

    def at(hour: float) -> float:
        return (low + high) / 2 + (high - low) / 2 * cos(2 * pi * hour / 24) + 1.5 * cos(2 * pi * hour / 7)

    readings = [(n / 12, at(n / 12)) for n in range(-1, 24 * 12 + 2)]
    expected = quad(lambda hour: min(max(at(hour), 11.5), 33) - 11.5, 0, 24, limit=400)[0] / 24
    collected = logged_day(readings, 11.5, 33)
    assert collected.degree_days == pytest.approx(expected, abs=2e-3)
    assert collected.filled_hours == pytest.approx(0)
