"""Groups at their edges: days in the keeper's zone, seasons south of the equator, moves that were none."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec
import pytest

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.factors import FACTORS, Season

MakePupa = Callable[..., Pupa]


def replaced(settings: Settings, **changes: object) -> Settings:
    review = msgspec.structs.replace(settings.care.review, **changes)
    return msgspec.structs.replace(settings, care=msgspec.structs.replace(settings.care, review=review))


def test_the_week_is_that_of_the_keepers_own_zone(settings: Settings, make: MakePupa) -> None:
    # Monday 6 July 2026 03:00 UTC is still Sunday in Chicago (ISO 8601 weeks begin on Monday).
    pupa = make(formed=datetime(2026, 7, 6, 3, tzinfo=UTC))
    chicago = msgspec.structs.replace(settings, zone="America/Chicago")
    assert Season([pupa], settings).column("week") == ["2026-W28"]
    assert Season([pupa], chicago).column("week") == ["2026-W27"]


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns", "Pacific/Chatham"])
def test_quarter_hour_zones_have_their_own_midnight(zone: str, settings: Settings, make: MakePupa) -> None:
    there = msgspec.structs.replace(settings, zone=zone)
    midnight = datetime(2026, 7, 6, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    before, after = make(formed=midnight - timedelta(seconds=1)), make(formed=midnight)
    assert Season([before, after], there).column("week") == ["2026-W27", "2026-W28"]


def test_a_southern_summer_is_one_season(settings: Settings, make: MakePupa) -> None:
    south = replaced(settings, season_starts_month=7)
    days = [datetime(2026, 6, 30, tzinfo=UTC), datetime(2026, 12, 24, tzinfo=UTC), datetime(2027, 2, 1, tzinfo=UTC)]
    assert Season([make(formed=day) for day in days], south).column("season") == ["2025/26", "2026/27", "2026/27"]


def test_an_adult_carried_elsewhere_was_not_moved_as_a_pupa(settings: Settings, make: MakePupa) -> None:
    assert Season([make(wings="sound", days=10, moved_after=241)], settings).column("moved") == ["not moved"]


def test_a_hang_time_at_the_end_of_a_bin_belongs_to_the_next(settings: Settings, make: MakePupa) -> None:
    season = Season([make(moved_after=hours) for hours in (23.9, 24, 48, 120, 500)], settings)
    assert season.column("hang") == ["0–24 h", "24–48 h", "48–72 h", "120 h or more", "120 h or more"]


def test_groups_add_up_to_the_season_by_every_factor_and_pair(settings: Settings, make: MakePupa) -> None:
    pupae = [make(wings="sound", moved_after=30), make(lost="disease"), make(site="Elsewhere", emerged=True), make()]
    season = Season(pupae, settings)
    for first in FACTORS:
        for by in (first, *(f"{first},{second}" for second in FACTORS if second != first)):
            assert sum(counts.formed for counts in season.counts(by).values()) == 4


@pytest.mark.parametrize("zone", ["America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia"])
def test_a_local_day_is_that_of_the_zone_also_where_clocks_and_dates_are_changed(
    zone: str, settings: Settings, make: MakePupa
) -> None:
    """Against ``zoneinfo`` (the IANA database) asked every quarter of an hour; Apia left a day out in 2011."""
    group = FACTORS["week"][1](msgspec.structs.replace(settings, zone=zone))
    pupa = make(formed=datetime(2011, 3, 1, tzinfo=UTC))
    moment = datetime(2011, 3, 1, tzinfo=UTC)
    while moment.year < 2012:
        year, week, _ = moment.astimezone(ZoneInfo(zone)).isocalendar()
        assert group(pupa) == f"{year}-W{week:02}"
        moment += timedelta(minutes=15)
        pupa.formed_to = moment
