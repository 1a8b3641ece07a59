"""Elapsed hang time, checked against the standard library's zoneinfo reckoned in UTC."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pupawatch.errors import NotUnderstood
from pupawatch.model.times import hours_between
from pupawatch.model.typed_times import parse_span

ZONES = ("America/Chicago", "Europe/London", "Australia/Lord_Howe", "America/St_Johns", "Africa/Casablanca", "UTC")


def _instant(local: datetime, zone: str) -> datetime:
    """zoneinfo's answer, and no answer where a wall-clock time is skipped or comes twice."""
    early = local.replace(tzinfo=ZoneInfo(zone), fold=0)
    assume(early.utcoffset() == early.replace(fold=1).utcoffset())
    return early.astimezone(UTC)


@given(
    st.sampled_from(ZONES),
    st.datetimes(datetime(2000, 1, 1), datetime(2037, 12, 1)),
    st.integers(1, 400 * 60),
)
def test_hours_between_two_typed_times_are_those_of_zoneinfo(zone: str, local: datetime, minutes: int) -> None:
    """Over every change of summer time from 2000 to 2037 in six zones, half-hour changes included."""
    formed = local.replace(second=0, microsecond=0)
    seen = formed + timedelta(minutes=minutes)
    expected = (_instant(seen, zone) - _instant(formed, zone)).total_seconds() / 3600
    typed = [parse_span(f"{at:%Y-%m-%dT%H:%M}", zone).until for at in (formed, seen)]
    assert hours_between(*typed) == pytest.approx(expected, abs=1e-9)


def test_a_night_with_the_clocks_going_back_has_an_hour_more() -> None:
    """Chicago, 1 November 2026: summer time ends at 02:00 (IANA time zone database)."""
    evening = parse_span("2026-10-31T19:00", "America/Chicago").until
    morning = parse_span("2026-11-01T07:00", "America/Chicago").until
    assert hours_between(evening, morning) == 13


@given(st.sampled_from(ZONES), st.datetimes(datetime(2000, 1, 1), datetime(2037, 12, 1)))
def test_a_wall_clock_time_that_is_skipped_or_repeated_is_never_guessed(zone: str, local: datetime) -> None:
    local = local.replace(second=0, microsecond=0)
    first, second = (local.replace(tzinfo=ZoneInfo(zone), fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        assert parse_span(f"{local:%Y-%m-%dT%H:%M}", zone).until == first.astimezone(UTC)
    else:
        with pytest.raises(NotUnderstood):
            parse_span(f"{local:%Y-%m-%dT%H:%M}", zone)
