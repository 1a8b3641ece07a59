"""Degree-days of days of which only minimum and maximum are known, checked against published tables.

With a sharp bend at both thresholds, the development of such a day is what the trade calls a single sine.
"""

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec.structs
import pytest

from pupawatch import settings
from pupawatch.care.forecast import DayRange, Temperatures

if TYPE_CHECKING:
    from tests.conftest import Developed

HEAT = settings.load().species["monarch"].heat
BEGIN, DAY = datetime(2026, 8, 1, tzinfo=UTC), timedelta(days=1)
HOURLY = 0.02
"""The forecast goes by the middle of each hour, the tables by the whole curve: so far they may part, in °C days."""

# Zalom et al. 1983, Degree-days: the calculation and use of heat units in pest management, UC DANR Leaflet 21373,
# table 7 (°F, lower threshold 55, upper 90): minimum, maximum, single sine. The table was seen as the test data of the
# R package degday.
ZALOM = [
    (96, 110, 35.00),
    (91, 105, 35.00),
    (45, 54, 0),
    (38, 50, 0),
    (60, 80, 15.00),
    (75, 88, 26.50),
    (50, 82, 11.85),
    (45, 70, 5.31),
    (60, 100, 22.82),
    (75, 95, 28.91),
    (50, 101, 18.95),
    (48, 95, 16.96),
]

# Expected values in the tests of the R package TrenchR (°C, lower 12, upper 33): minimum, maximum, degree-days.
# One more value there, of a single sine of 35-40, contradicts the formula and is left out.
TRENCHR = [(7, 14, 0.47), (7, 10, 0), (13, 14, 1.5), (13, 40, 12.94), (7, 40, 10.94), (7, 20, 2.87), (35, 40, 21)]


def degree_days(developed: "Developed", low_c: float, high_c: float, base_c: float, cap_c: float) -> float:
    """The °C days that the forecast counts for one of several such days."""
    heat = msgspec.structs.replace(HEAT, softness_c=0.0, base_temp_c=base_c, cap_temp_c=cap_c)
    days = [DayRange((BEGIN + n * DAY).date(), low_c, high_c) for n in range(-1, 4)]
    grown = developed(Temperatures(days=days), "UTC", BEGIN, BEGIN + DAY, [base_c], heat)
    return float(grown[0]) * (heat.reference_temp_c - base_c)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.mark.parametrize(("low", "high", "expected"), ZALOM)
def test_a_day_counts_as_in_the_leaflet(low: float, high: float, expected: float, developed: "Developed") -> None:
    """Zalom et al. 1983, table 7, printed to two places in °F days."""
    ours = degree_days(developed, celsius(low), celsius(high), celsius(55), celsius(90))
    assert ours * 1.8 == pytest.approx(expected, abs=0.0051 + 1.8 * HOURLY)


@pytest.mark.parametrize(("low", "high", "expected"), TRENCHR)
def test_a_day_counts_as_in_a_second_package(low: float, high: float, expected: float, developed: "Developed") -> None:
    """TrenchR's tests, printed to two places."""
    assert degree_days(developed, low, high, 12, 33) == pytest.approx(expected, abs=0.0051 + HOURLY)
