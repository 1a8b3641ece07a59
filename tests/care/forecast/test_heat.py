"""When a place is too hot or too cold, and the newest temperature that was recorded."""

from datetime import UTC, date, datetime, timedelta
from math import pi, sin
from typing import Any

import pytest

from pupawatch.care.forecast.heat import Newest, newest, warmest_day_mean_c, warned
from pupawatch.care.forecast.records import DayRange, Temperatures
from pupawatch.model.settings import Profile, Settings
from pupawatch.words.forecast import temperature_warning

NOW = datetime(2026, 8, 10, 6, 30, tzinfo=UTC)
TODAY = date(2026, 8, 10)
DAY = timedelta(days=1)


@pytest.fixture
def monarch(loaded: Settings) -> Profile:
    return loaded.profile("monarch")


@pytest.fixture
def told(loaded: Settings) -> Any:
    """What is warned of, in words, where these species hang."""

    def words(known: Temperatures, *species: str) -> list[str]:
        profiles = [loaded.profile(name) for name in species or ("monarch",)]
        return [temperature_warning(one) for one in warned(known, NOW, "UTC", profiles, loaded.care.temperature)]

    return words


def logged(celsius: Any, hours: float = 24, every_minutes: int = 10) -> Temperatures:
    """A logger's readings of the last hours: celsius at an hour of day (UTC)."""
    start, count = NOW - timedelta(hours=hours), int(hours * 60 / every_minutes)
    at = [start + timedelta(minutes=every_minutes * n) for n in range(count)]
    return Temperatures([moment.timestamp() for moment in at], [celsius(m.hour + m.minute / 60) for m in at])


def summer(low: float, high: float) -> Any:
    """A day's sine, lowest at 4, highest at 16."""
    return lambda hour: (low + high) / 2 + (high - low) / 2 * sin(2 * pi * (hour - 10) / 24)


@pytest.mark.parametrize("high", [30, 31, 32, 33, 34])
def test_an_afternoons_peak_alone_is_no_warning(told: Any, high: float) -> None:
    assert told(logged(summer(16, high))) == []
    assert told(Temperatures(days=[DayRange(TODAY - DAY, 16, high)])) == []


def test_a_daily_mean_that_spoils_wings_is_warned_of(told: Any) -> None:
    """84 % sound wings at a constant 30 °C, 21 % at 34 (Ragonese et al. 2024, temperature experiment 2019)."""
    (line,) = told(logged(lambda _: 34.0))
    assert line.startswith("has had a daily mean of 34 °C; from 30 °C")
    assert "cooler room" in line
    assert told(Temperatures(days=[DayRange(TODAY, 25, 35)]))[0].startswith("has had a daily mean of 30 °C")
    (coming,) = told(Temperatures(expected=[DayRange(TODAY + DAY, 28, 36)]))
    assert coming.startswith("is expected to have a daily mean of 32 °C")
    assert told(Temperatures(constant_c=24)) == []
    assert told(Temperatures(constant_c=31))[0].startswith("has had a daily mean of 31 °C")


def test_many_hours_of_great_heat_are_warned_of(told: Any) -> None:
    (line,) = told(logged(lambda hour: 36.0 if 10 <= hour < 18 else 20.0))
    assert "reached 36 °C, 8 h of the day above 33 °C" in line
    assert told(logged(lambda hour: 36.0 if 12 <= hour < 17 else 20.0)) == []
    (ranged,) = told(Temperatures(days=[DayRange(TODAY, 16, 40)]))  # a sine above 33 °C for 8.7 h, its mean 28
    assert "9 h of the day above 33 °C" in ranged


def test_a_sensor_in_the_sun_is_asked_about_and_does_not_count_as_heat(told: Any) -> None:
    (line,) = told(logged(lambda hour: 52.0 if 13 <= hour < 15 else 22.0))
    assert line.startswith("reached 52 °C: does the sensor stand in the sun?")


def test_frost_is_warned_of_for_species_that_do_not_overwinter(told: Any) -> None:
    cold = Temperatures(days=[DayRange(TODAY, -1, 9)])
    (line,) = told(cold)
    assert line.startswith("reached -1 °C, and frost kills")
    assert "bring the whole cage in" in line
    assert told(cold, "black-swallowtail") == []
    assert len(told(cold, "black-swallowtail", "monarch")) == 1
    (coming,) = told(Temperatures(expected=[DayRange(TODAY + DAY, -2, 6)]))
    assert coming.startswith("is expected to reach -2 °C")
    assert told(Temperatures(days=[DayRange(TODAY, 1, 3)])) == []  # outdoor pupae lived at lows of 1 to 3 °C


def test_what_is_long_past_is_not_warned_of(told: Any) -> None:
    assert told(Temperatures([NOW.timestamp() - 2 * 86400], [40.0])) == []
    assert told(Temperatures(days=[DayRange(TODAY - 3 * DAY, -5, 40)])) == []


def test_the_warmest_day_is_by_its_mean() -> None:
    assert warmest_day_mean_c(logged(lambda _: 25.0), NOW, "UTC") == pytest.approx(25)
    days = Temperatures(days=[DayRange(TODAY - DAY, 10, 30)], expected=[DayRange(TODAY, 20, 34)])
    assert warmest_day_mean_c(days, NOW, "UTC") == 27
    assert warmest_day_mean_c(Temperatures(constant_c=36), NOW, "UTC") is None


def test_a_few_hot_hours_of_a_new_logger_are_no_days_mean(told: Any) -> None:
    assert told(logged(lambda hour: 29.0 if hour < 5 else 32.0, hours=4)) == []


def test_the_newest_temperature_is_the_lowest_of_those_that_are_as_new() -> None:
    places = {
        "Room": logged(lambda _: 22.0),
        "Porch": logged(lambda _: 11.0),
        "Shed": Temperatures([(NOW - timedelta(hours=9)).timestamp()], [3.0]),
    }
    assert newest(places, NOW, "UTC") == Newest(11.0, "Porch")
    assert newest({"Porch": Temperatures(days=[DayRange(TODAY, 9, 12)])}, NOW, "UTC") == Newest(12, "Porch")
    assert newest({"Porch": Temperatures(days=[DayRange(TODAY - DAY, 9, 12)])}, NOW, "UTC") is None
