"""Times as they are typed and shown."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.model.times import hours_between, instant, iso, shown_time, start_of_round_day
from pupawatch.model.typed_times import parse_span

CHICAGO = "America/Chicago"
NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)  # 06:40 in Chicago


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("2026-08-14T06:40", "2026-08-14T11:40:00+00:00"),
        ("2026-08-14 06:40:30", "2026-08-14T11:40:30+00:00"),
        ("2026-08-14T06:40Z", "2026-08-14T06:40:00+00:00"),
        ("2026-08-14T06:40+02:00", "2026-08-14T04:40:00+00:00"),
        ("06:10", "2026-09-08T11:10:00+00:00"),
        ("yesterday 21:00", "2026-09-08T02:00:00+00:00"),
    ],
)
def test_a_time_is_understood(typed: str, meant: str) -> None:
    span = parse_span(typed, CHICAGO, NOW)
    assert (iso(span.until), span.since) == (meant, span.until)


def test_a_date_alone_is_the_whole_day() -> None:
    span = parse_span("2026-08-14", CHICAGO)
    assert span.since == datetime(2026, 8, 14, 5, tzinfo=UTC)
    assert span.until == datetime(2026, 8, 15, 5, tzinfo=UTC)


def test_the_day_on_which_the_clocks_go_forward_has_23_hours() -> None:
    span = parse_span("2026-03-08", CHICAGO)
    assert span.since is not None
    assert hours_between(span.since, span.until) == 23


@pytest.mark.parametrize(
    "typed", ["", "now", "2026", "2026-13-01", "2026-02-30", "25:00", "06:61", "P3D", "2026-08-14Z"]
)
def test_anything_else_is_not_understood(typed: str) -> None:
    with pytest.raises(NotUnderstood):
        parse_span(typed, CHICAGO, NOW)


def test_a_local_time_that_came_twice_is_asked_about() -> None:
    with pytest.raises(NotUnderstood, match="came twice"):
        parse_span("2026-11-01T01:30", CHICAGO)


def test_a_local_time_that_never_was_is_asked_about() -> None:
    with pytest.raises(NotUnderstood, match="did not exist"):
        parse_span("2026-03-08T02:30", CHICAGO)


def test_a_time_is_understood_in_every_zone_there_is() -> None:
    """As Python's own zoneinfo reckons it."""
    for zone in sorted(available_timezones()):
        assert parse_span("2026-08-14T06:40", zone).until == datetime(2026, 8, 14, 6, 40, tzinfo=ZoneInfo(zone)), zone


@pytest.mark.parametrize(
    ("zone", "typed", "told"),
    [
        ("EST5EDT", "2026-11-01T01:30", "came twice in EST5EDT"),
        ("CST6CDT", "2026-03-08T02:30", "did not exist in CST6CDT"),
        ("NZ", "2026-04-05T02:30", "came twice in NZ"),
        ("GB", "2026-03-29T01:30", "did not exist in GB"),
        ("Egypt", "2026-04-24T00:30", "did not exist in Egypt"),
    ],
)
def test_a_zone_without_a_slash_changes_its_clock_too(zone: str, typed: str, told: str) -> None:
    """The days are those of the IANA time zone database."""
    with pytest.raises(NotUnderstood, match=told):
        parse_span(typed, zone)


def test_a_word_for_a_day_needs_to_know_which_day_it_is() -> None:
    with pytest.raises(NotUnderstood):
        parse_span("yesterday 21:00", CHICAGO)


def test_times_are_told_from_where_the_keeper_stands() -> None:
    assert shown_time(NOW - timedelta(hours=1), CHICAGO, NOW) == "05:40"
    assert shown_time(NOW - timedelta(hours=12), CHICAGO, NOW) == "yesterday 18:40"
    assert shown_time(NOW + timedelta(days=1), CHICAGO, NOW) == "tomorrow 06:40"
    assert shown_time(NOW - timedelta(days=3), CHICAGO, NOW) == "Sat 5 Sep 06:40"
    assert shown_time(NOW - timedelta(days=400), CHICAGO, NOW) == "4 Aug 2025 06:40"


def test_before_the_round_starts_it_is_still_yesterdays_round() -> None:
    two_at_night = datetime(2026, 9, 8, 7, tzinfo=UTC)
    assert start_of_round_day(two_at_night, CHICAGO, 3) == datetime(2026, 9, 7, 8, tzinfo=UTC)
    assert start_of_round_day(NOW, CHICAGO, 3) == datetime(2026, 9, 8, 8, tzinfo=UTC)


@pytest.mark.parametrize("seconds", [-1_388_534_400, -0.5, 0, 1_788_867_600])
def test_an_instant_before_1970_is_one_as_well(seconds: float) -> None:
    """On Linux ``fromtimestamp`` says the same; on Windows it knows none before 1970 (from memory)."""
    assert instant(seconds) == datetime.fromtimestamp(seconds, UTC)
