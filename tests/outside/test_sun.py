"""Sunrise and sunset, checked against published values and against the solar position algorithm.

Tolerance one minute: published values are printed to the minute, and astral takes no account of air pressure.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pupawatch.care.forecast.sun import Sky

MINUTE = timedelta(minutes=1)

# Test tables of the Perl module Astro::Sunrise (t/01basic.t, t/04basic.t), by fixed offsets without summer time. The
# zone names count westward, so Etc/GMT+6 is UTC-6. Rows without a sunset: only the sunrise is printed beside them.
PRINTED = [
    ("UTC", 51 + 32 / 60, -5 / 60, date(2003, 6, 21), "03:43", "20:21"),
    ("UTC", 57 + 9 / 60, -2 - 9 / 60, date(2003, 6, 21), "03:12", "21:08"),
    ("Etc/GMT+6", 19 + 26 / 60, -99 - 7 / 60, date(2003, 6, 21), "05:59", "19:17"),
    ("Etc/GMT-10", -34.0, 151.0, date(2003, 6, 21), "07:01", "16:54"),
    ("Etc/GMT-6", 1 + 14 / 60, 103 + 55 / 60, date(2003, 6, 21), "05:00", "17:12"),
    ("Etc/GMT+1", 64 + 4 / 60, -21 - 58 / 60, date(2003, 6, 21), "01:57", "23:02"),
    ("Etc/GMT-11", -41 - 17 / 60, 174 + 47 / 60, date(2003, 6, 21), "06:47", "15:58"),
    ("UTC", 51 + 28 / 60, 0.0, date(2013, 1, 1), "08:05", "16:02"),
    ("UTC", 51 + 28 / 60, 0.0, date(2013, 3, 21), "06:00", "18:15"),
    ("Etc/GMT+1", 27 + 44 / 60, -18 - 3 / 60, date(2013, 1, 1), "07:03", "17:29"),
    ("Etc/GMT+5", -15 / 60, -78 - 35 / 60, date(2013, 3, 21), "06:18", "18:25"),
]

# Sun at -0.8333° by the solar position algorithm of Reda & Andreas 2004, as pvlib 0.16.1 computes it.
BY_POSITION = [
    ("America/Chicago", 38.97, -95.24, date(2026, 6, 21), "05:55:39", "20:50:00"),
    ("America/Chicago", 38.97, -95.24, date(2026, 9, 22), "07:08:46", "19:17:46"),
    ("America/Chicago", 44.98, -93.27, date(2026, 8, 15), "06:15:02", "20:19:12"),
    ("America/Toronto", 43.65, -79.38, date(2026, 12, 21), "07:47:50", "16:43:32"),
    ("Australia/Sydney", -33.87, 151.21, date(2026, 12, 21), "05:40:38", "20:05:24"),
    ("UTC", 51 + 32 / 60, -5 / 60, date(2003, 6, 21), "03:42:37", "20:21:23"),
    ("Etc/GMT+1", 64 + 4 / 60, -21 - 58 / 60, date(2003, 6, 21), "01:57:10", "23:01:57"),
]


def _at(day: date, clock: str, zone: str) -> datetime:
    return datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


@pytest.mark.parametrize(("zone", "latitude", "longitude", "day", "rises", "sets"), [*PRINTED, *BY_POSITION])
def test_the_sun_rises_and_sets_to_the_minute(
    zone: str, latitude: float, longitude: float, day: date, rises: str, sets: str
) -> None:
    sky = Sky(zone, latitude, longitude)
    rise, set_ = sky.sunrise(day), sky.sunset(day)
    assert rise is not None
    assert set_ is not None
    # A minute printed may be rounded either way; in the far north the sun grazes the horizon, and seconds grow.
    tolerance = 1.3 * MINUTE if len(rises) == 5 or latitude > 60 else MINUTE
    assert abs(rise - _at(day, rises, zone)) <= tolerance
    assert abs(set_ - _at(day, sets, zone)) <= tolerance


def test_the_sunrise_of_the_algorithms_own_example() -> None:
    """Reda & Andreas 2004, Solar Energy 76:577-589, tester output: 2003-10-17, Golden, Colorado, 06:12:43 at UTC-7.

    The sunset printed there, 17:20:19, is that of the evening before; the sun stands at -0.8333° at 17:18:50.
    """
    sky, day = Sky("Etc/GMT+7", 39.742476, -105.1786), date(2003, 10, 17)
    rise, set_ = sky.sunrise(day), sky.sunset(day)
    assert rise is not None
    assert set_ is not None
    assert abs(rise - _at(day, "06:12:43", sky.zone)) <= MINUTE
    assert abs(set_ - _at(day, "17:18:50", sky.zone)) <= MINUTE


def test_the_longest_day_in_kansas_has_14_hours_and_54_minutes() -> None:
    """38.97° N on 2026-06-21, by the solar position algorithm (pvlib 0.16.1)."""
    assert Sky("America/Chicago", 38.97, -95.24).day_length_hours(date(2026, 6, 21)) == pytest.approx(14.9, abs=0.02)


def test_polar_days_have_no_sunrise_but_a_length() -> None:
    """Longyearbyen, 78.2° N: midnight sun from 20 April to 22 August, polar night around Christmas (from memory)."""
    sky = Sky("Arctic/Longyearbyen", 78.22, 15.65)
    assert sky.sunrise(date(2026, 6, 21)) is None
    assert sky.day_length_hours(date(2026, 6, 21)) == 24
    assert sky.day_length_hours(date(2026, 12, 24)) == 0
    assert sky.dawn(date(2026, 6, 21)).astimezone(ZoneInfo(sky.zone)).hour == 6


def test_where_the_sun_sets_after_midnight_the_day_still_has_its_length() -> None:
    """63.0° N, 18.7° E in June: the sun sets around 22:50 and rises around 02:00; at 65.5° N after midnight, summer
    time (from memory, to half an hour)."""
    assert Sky("Europe/Stockholm", 63.0, 18.7).day_length_hours(date(2026, 6, 21)) == pytest.approx(20.6, abs=0.6)
    assert Sky("Europe/Helsinki", 65.5, 25.5).day_length_hours(date(2026, 6, 21)) == pytest.approx(22.9, abs=0.9)


def test_without_a_place_nothing_is_made_up() -> None:
    sky, day = Sky("America/Chicago"), date(2026, 6, 21)
    assert sky.sunrise(day) is None
    assert sky.day_length_hours(day) is None
    assert sky.dawn(day) == datetime(2026, 6, 21, 11, 30, tzinfo=UTC)
