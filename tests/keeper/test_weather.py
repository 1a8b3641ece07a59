"""What is expected of the coming days: typed in by one act, or taken from a weather file of any make."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import expected_days
from pupawatch.keeper.weather import expect, expect_from

NOW = datetime(2026, 7, 20, 12, tzinfo=UTC)


def keeper_of(folder: Path, unit: str = "C") -> Keeper:
    (folder / "keeper.toml").write_text(f'zone = "America/Chicago"\ntemperature_unit = "{unit}"\n', encoding="utf-8")
    (folder / "places.toml").write_text('[[places]]\nname = "Roof"\nsurface = "mesh"\n', encoding="utf-8")
    return Keeper(Journal(folder / "j.db"), files.load(folder), lambda: NOW, folder)


def kept(keeper: Keeper, place: str = "") -> list[tuple[date, float, float]]:
    return [tuple(day) for day in expected_days(keeper.settings, keeper.folder).get(place, [])]  # type: ignore[misc]


def test_a_pair_is_tomorrow_and_each_further_pair_a_day_later(tmp_path: Path) -> None:
    keeper = keeper_of(tmp_path)
    done = expect(keeper, ["8", "19", "9,5", "22"])
    assert done.words == "Expected: 8 to 19 °C on Tue 21 and 1 day more; kept in expected.csv."
    assert kept(keeper) == [(date(2026, 7, 21), 8, 19), (date(2026, 7, 22), 9.5, 22)]


def test_a_second_act_changes_its_own_days_alone(tmp_path: Path) -> None:
    keeper = keeper_of(tmp_path)
    expect(keeper, ["8", "19", "9", "22"])
    expect(keeper, ["5", "10"])
    expect(keeper, ["1", "2"], "roof")
    assert kept(keeper) == [(date(2026, 7, 21), 5, 10), (date(2026, 7, 22), 9, 22)]
    assert kept(keeper, "Roof") == [(date(2026, 7, 21), 1, 2)]


def test_the_keepers_unit_holds_unless_one_is_typed(tmp_path: Path) -> None:
    keeper = keeper_of(tmp_path, "F")
    expect(keeper, ["50", "68", "5C", "10C"])
    assert kept(keeper) == [(date(2026, 7, 21), 10, 20), (date(2026, 7, 22), 5, 10)]


@pytest.mark.parametrize("typed", [[], ["8"], ["19", "8"], ["8", "nine"], ["8", "300"]])
def test_what_no_day_can_be_is_refused_and_nothing_is_kept(tmp_path: Path, typed: list[str]) -> None:
    keeper = keeper_of(tmp_path)
    with pytest.raises(NotUnderstood):
        expect(keeper, typed)
    assert kept(keeper) == []


@pytest.mark.parametrize(
    "table",
    [
        "date,temperature_2m_max (°C),temperature_2m_min (°C)\n2026-07-20,21,9\n2026-07-21,20,10\n",
        "Station;7\n\nDatum;Wind max;T min °C;T max °C\n2026-07-20;30;9,0;21,0\n2026-07-21;31;10,0;20,0\n",
        "datetime,tempmax °F,tempmin °F,humidity max\n2026-07-20T00:00,69.8,48.2,90\n2026-07-21T00:00,68,50,91\n",
    ],
)
def test_weather_files_of_any_make_are_read(tmp_path: Path, table: str) -> None:
    """Headings as weather services write them, from memory. 68 °F are 20 °C: NIST SP 811, B.8."""
    keeper, path = keeper_of(tmp_path), tmp_path / "weather.csv"
    path.write_text(table, encoding="utf-8")
    assert "Read as °" in expect_from(keeper, path).words
    assert [(day, round(low), round(high)) for day, low, high in kept(keeper)] == [
        (date(2026, 7, 20), 9, 21),
        (date(2026, 7, 21), 10, 20),
    ]


def test_a_file_without_coming_days_or_without_a_heading_is_refused(tmp_path: Path) -> None:
    keeper, path = keeper_of(tmp_path), tmp_path / "weather.csv"
    path.write_text("date,min,max\n2025-07-20,9,21\n", encoding="utf-8")
    with pytest.raises(NotUnderstood, match="nothing for today"):
        expect_from(keeper, path)
    path.write_text("a,b,c\n2026-07-20,9,21\n", encoding="utf-8")
    with pytest.raises(NotUnderstood, match="heading"):
        expect_from(keeper, path)
