"""What must hold of degree-days whatever the day is like. Properties by their meaning: common sense, no source."""

from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch.care.forecast.degree_days import (
    average,
    double_sine,
    double_triangle,
    logged_day,
    modified_average,
    sine,
    triangle,
)

BASE, CAP = 11.5, 33.0
METHODS = (average, modified_average, triangle, sine)
celsius = st.floats(-30, 55)
ordered = st.tuples(celsius, celsius).map(sorted)


@given(ordered)
def test_no_day_counts_less_than_nothing_or_more_than_the_thresholds_leave(day: list[float]) -> None:
    for method in METHODS:
        collected = method(*day, BASE, CAP)
        assert isfinite(collected)
        assert -1e-9 <= collected <= CAP - BASE + 1e-9


@given(ordered, st.floats(0, 10))
def test_a_warmer_day_never_counts_less(day: list[float], warmer: float) -> None:
    for method in METHODS:
        assert method(day[0] + warmer, day[1] + warmer, BASE, CAP) >= method(*day, BASE, CAP) - 1e-6


@given(st.tuples(st.floats(BASE, CAP), st.floats(BASE, CAP)).map(sorted))
def test_between_the_thresholds_all_methods_agree_with_the_mean(day: list[float]) -> None:
    for method in METHODS:
        assert method(*day, BASE, CAP) == pytest.approx(sum(day) / 2 - BASE, abs=1e-9)


@given(ordered)
def test_a_double_method_with_equal_nights_is_the_single_one(day: list[float]) -> None:
    assert double_sine(*day, day[0], BASE, CAP) == pytest.approx(sine(*day, BASE, CAP))
    assert double_triangle(*day, day[0], BASE, CAP) == pytest.approx(triangle(*day, BASE, CAP))


def test_a_cool_day_with_a_warm_noon_counts_by_the_sine_and_not_by_the_mean() -> None:
    assert average(5, 14, BASE, CAP) == 0
    assert sine(5, 14, BASE, CAP) > 0.5


def test_a_gap_of_more_than_two_hours_is_filled_by_the_sine_and_said() -> None:
    """Readings until noon, then silence; the afternoon takes the sine of the written minimum and maximum."""
    readings = [(hour / 2, 20.0) for hour in range(25)]
    collected = logged_day(readings, BASE, CAP, low=10, high=30)
    assert collected.filled_hours == pytest.approx(12)
    assert collected.degree_days == pytest.approx((20 - BASE) / 2 + sine(10, 30, BASE, CAP) / 2)


def test_a_gap_of_two_hours_is_no_gap() -> None:
    collected = logged_day([(hour, 20.0) for hour in range(0, 25, 2)], BASE, CAP)
    assert collected.filled_hours == pytest.approx(0)
    assert collected.degree_days == pytest.approx(20 - BASE)


def test_only_the_part_of_a_step_that_lies_inside_the_day_counts() -> None:
    """Readings half an hour before midnight and after it: the line between them is cut at midnight."""
    readings = [(-0.5, 10.0), (0.5, 20.0), *((hour + 0.5, 20.0) for hour in range(1, 25))]
    first_half_hour = 0.5 * ((15 + 20) / 2 - BASE)
    assert logged_day(readings, BASE, CAP).degree_days == pytest.approx((first_half_hour + 23.5 * (20 - BASE)) / 24)


def test_a_day_of_23_hours_collects_less_than_one_of_25() -> None:
    """Where the clocks go forward, and back."""
    short = logged_day([(float(hour), 20.0) for hour in range(24)], BASE, CAP, day_hours=23)
    long = logged_day([(float(hour), 20.0) for hour in range(26)], BASE, CAP, day_hours=25)
    assert (short.degree_days, long.degree_days) == pytest.approx((23 / 24 * 8.5, 25 / 24 * 8.5))


def test_a_day_of_which_nothing_is_known_is_an_error_and_not_a_zero() -> None:
    with pytest.raises(ValueError, match="minimum and a maximum"):
        logged_day([], BASE, CAP)
