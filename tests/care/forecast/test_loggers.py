"""Silent, stuck and doubled loggers. Common practice, no source, where none is named."""

import math

import pytest

from pupawatch.care.forecast.loggers import Readings, apart_c, averaged, standing_still, without

HOUR = 3600.0


def hourly(days: int, mean: float = 20.0, swing: float = 5.0) -> Readings:
    hours = range(24 * days)
    return Readings([n * HOUR for n in hours], [round(mean + swing * math.sin(n / 24 * 2 * math.pi), 1) for n in hours])


def stuck_from(told: Readings, day: int, until: int, celsius: float) -> Readings:
    span = range(24 * day, 24 * until)
    return Readings(told.at_seconds, [celsius if n in span else c for n, c in enumerate(told.celsius)])


def test_a_value_that_stands_still_for_days_is_a_fault_and_left_out() -> None:
    told = stuck_from(hourly(20), 5, 16, 21.0)
    (fault,) = standing_still(told)
    assert (fault.celsius, fault.is_fault) == (21.0, True)
    assert (fault.since, fault.until) == (told.at_seconds[24 * 5], told.at_seconds[24 * 16 - 1])
    assert len(without(told, [fault]).celsius) == 24 * 9 + 1


def test_a_cellar_and_a_coarse_sensor_keep_their_long_stretches() -> None:
    coarse = [20.0 + (n // 30) % 2 for n in range(24 * 20)]  # thirty hours each, one of them forty
    coarse[60:90] = [coarse[59]] * 30
    told = Readings([n * HOUR for n in range(len(coarse))], coarse)
    assert not any(fault.is_fault for fault in standing_still(told))
    assert without(told, standing_still(told)) == told


def test_a_sensor_that_never_changed_is_only_a_doubt() -> None:
    (doubt,) = standing_still(stuck_from(hourly(10), 0, 10, 21.0))
    assert not doubt.is_fault


def test_a_changing_sensor_and_one_with_few_readings_raise_nothing() -> None:
    assert standing_still(hourly(20)) == []
    assert standing_still(Readings([0.0, 86400.0 * 3], [21.0, 21.0])) == []


def test_two_loggers_are_averaged_where_both_tell_and_each_counts_alone_elsewhere() -> None:
    """By hand: 20 and 24 °C side by side, the second only for the middle ten hours."""
    first = Readings([n * HOUR for n in range(30)], [20.0] * 30)
    second = Readings([n * HOUR + 600 for n in range(10, 20)], [24.0] * 10)
    told, error_c = averaged([first, second])
    mean = dict(zip(*told, strict=True))
    assert error_c == pytest.approx(2)
    assert averaged([first]) == (first, 0.0)
    assert mean[5 * HOUR] == 20
    assert mean[15 * HOUR] == 22
    assert mean[15 * HOUR + 600] == 22
    assert mean[25 * HOUR] == 20
    assert list(mean) == sorted(mean)


def test_how_often_a_logger_speaks_does_not_make_it_count_more() -> None:
    often = Readings([n * 60.0 for n in range(1440)], [30.0] * 1440)
    rarely = Readings([n * HOUR for n in range(24)], [20.0] * 24)
    inside = [c for at, c in zip(*averaged([often, rarely])[0], strict=True) if at <= 23 * HOUR]
    assert inside == pytest.approx([25.0] * len(inside))


def test_how_far_loggers_are_apart_is_told_of_the_last_day_alone() -> None:
    one, other = hourly(10), hourly(10)
    warm = Readings(other.at_seconds, [c + (4 if n >= 24 * 8 else 0) for n, c in enumerate(other.celsius)])
    assert apart_c([one, other], one.at_seconds[-1]) == pytest.approx(0)
    assert apart_c([one, warm], one.at_seconds[-1]) == pytest.approx(4)
    assert apart_c([one, Readings([], [])], one.at_seconds[-1]) is None
