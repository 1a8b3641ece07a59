"""The forecasts of a journal: its temperatures and pupae as they stand, and only what changed worked out anew."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood
from pupawatch.exchange.logger import bringing as logged
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.advice import Advice
from pupawatch.keeper.conditions import conditions, expected_days, lately
from pupawatch.keeper.outlook import Outlooks, scores
from pupawatch.model.times import Span
from pupawatch.words.forecast import logger_lines, outlook_notes
from pupawatch.words.round import headline

NOW = datetime(2026, 7, 20, 12, tzinfo=UTC)


@pytest.fixture
def keeper(tmp_path: Path) -> Keeper:
    (tmp_path / "keeper.toml").write_text(
        'zone = "America/Chicago"\nlatitude = 42.0\nlongitude = -93.0\n', encoding="utf-8"
    )
    (tmp_path / "places.toml").write_text(
        '[[places]]\nname = "Roof"\nsurface = "mesh"\n[[places]]\nname = "Shelf"\nsurface = "wood"\n', encoding="utf-8"
    )
    return Keeper(Journal(tmp_path / "j.db"), files.load(tmp_path), lambda: NOW, tmp_path)


def days_ago(days: float) -> Span:
    until = NOW - timedelta(days=days)
    return Span(until - timedelta(hours=12), until)


def readings(folder: Path, celsius: float, name: str = "log.csv") -> Path:
    lines = ["Time,T °C"]
    lines += [f"{NOW - timedelta(hours=hours):%Y-%m-%d %H:%M}+00:00,{celsius}" for hours in range(24 * 20, -1, -1)]
    path = folder / name
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_without_temperatures_it_goes_by_the_calendar_and_says_so(keeper: Keeper) -> None:
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    (outlook,) = Outlooks(keeper).of(keeper.state, NOW).values()
    assert outlook.basis == "calendar"
    assert any("calendar" in note for note in outlook_notes(outlook))


def test_warmth_brings_the_day_forward(keeper: Keeper, tmp_path: Path) -> None:
    for label in ("M1", "M2"):
        keeper.pupae.found(label, "Roof" if label == "M1" else "Shelf", when=days_ago(5))
    logged.temperatures(keeper, readings(tmp_path, 28), "warm", ["Roof"])
    logged.temperatures(keeper, readings(tmp_path, 19), "cool", ["Shelf"])
    found = Outlooks(keeper).of(keeper.state, NOW)
    warm, cool = (found[keeper.pupa(label).id].median for label in ("M1", "M2"))
    assert warm is not None
    assert cool is not None
    assert warm + timedelta(days=5) < cool


def test_readings_are_kept_once(keeper: Keeper, tmp_path: Path) -> None:
    first = logged.temperatures(keeper, readings(tmp_path, 22), "one", ["Roof"])
    again = logged.temperatures(keeper, readings(tmp_path, 22), "one", ["Roof"])
    assert (first.new, again.new) == (first.good, 0)


def test_a_dry_run_keeps_nothing(keeper: Keeper, tmp_path: Path) -> None:
    assert logged.temperatures(keeper, readings(tmp_path, 22), "one", ["Roof"], dry_run=True).good > 0
    assert keeper.journal.sensors() == []


def test_minima_and_maxima_by_hand_are_used_and_can_be_undone(keeper: Keeper) -> None:
    keeper.temperatures.measured("Roof", 15, 27, date(2026, 7, 19))
    assert [tuple(day) for day in conditions(keeper, NOW).temperatures["Roof"].days] == [(date(2026, 7, 19), 15, 27)]
    keeper.undo()
    assert conditions(keeper, NOW).temperatures["Roof"].days == []


@pytest.mark.parametrize(("low", "high"), [(27, 15), (-127, 20), (10, 80)])
def test_impossible_minima_and_maxima_are_not_understood(keeper: Keeper, low: float, high: float) -> None:
    with pytest.raises(NotUnderstood):
        keeper.temperatures.measured("Roof", low, high, date(2026, 7, 19))


def test_a_file_of_expected_temperatures_is_taken_in_and_its_faults_are_named(keeper: Keeper, tmp_path: Path) -> None:
    path = tmp_path / "expected.csv"
    path.write_text("day,low_c,high_c,place\n2026-07-21,14,25,\n2026-07-21,18,22,Shelf\n", encoding="utf-8")
    known = conditions(keeper, NOW, expected_days(keeper.settings, tmp_path)).temperatures
    assert (known["Roof"].expected[0].high_c, known["Shelf"].expected[0].high_c) == (25, 22)
    path.write_text("day;low_c;high_c\n2026-07-21;14,5;25\n;;\n", encoding="utf-8")
    assert expected_days(keeper.settings, tmp_path)[""][0][1:] == (14.5, 25)
    for row in ("2026-07-21,14,", "2026-07-21,14,990", "2026-07-21,24,14", "soon,14,15", "2026-07-21,14,15,Shelv"):
        path.write_text(f"day,low_c,high_c,place\n{row}\n", encoding="utf-8")
        with pytest.raises(NotUnderstood, match="line 2"):
            expected_days(keeper.settings, tmp_path)
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    outlooks = Outlooks(keeper)
    assert len(outlooks.of(keeper.state, NOW)) == 1
    assert "there is no place “Shelv”. The forecast ignores it" in outlooks.problem


def test_what_is_expected_of_the_weather_does_not_hold_where_it_is_kept_warm(keeper: Keeper, tmp_path: Path) -> None:
    (tmp_path / "expected.csv").write_text("day,low_c,high_c\n2026-07-21,20,36\n", encoding="utf-8")
    warm = msgspec.structs.replace(keeper.settings.place("Shelf"), temperature_c=24)
    keeper.places.describe(warm)
    for label, place in (("M1", "Roof"), ("M2", "Shelf")):
        keeper.pupae.found(label, place, when=days_ago(5))
    assert [*Outlooks(keeper).heat_warnings(keeper.state, NOW)] == ["Roof"]
    keeper.pupae.lost("M1", "vanished")
    assert not Outlooks(keeper).heat_warnings(keeper.state, NOW)


def test_only_what_an_entry_touches_is_worked_out_anew(keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    from pupawatch.care.forecast.engine import Forecaster

    for number in range(6):
        keeper.pupae.found(f"M{number}", "Roof", when=days_ago(5 + number / 10))
    outlooks = Outlooks(keeper)
    outlooks.of(keeper.state, NOW)
    asked: list[int] = []
    real = Forecaster.outlooks
    monkeypatch.setattr(Forecaster, "outlooks", lambda self, pupae: (asked.append(len(pupae)), real(self, pupae))[1])
    outlooks.of(keeper.state, NOW)
    keeper.pupae.saw("M3", "darkening")
    outlooks.of(keeper.state, NOW)
    assert asked == [1]


def test_heat_that_spoils_wings_is_warned_of_with_what_to_do(keeper: Keeper, tmp_path: Path) -> None:
    """79 % of the adults scored at a constant 34 °C had deformed wings: Ragonese et al., experiment 2019."""
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    logged.temperatures(keeper, readings(tmp_path, 34), "hot", ["Roof"])
    (warning,) = Outlooks(keeper).heat_warnings(keeper.state, NOW).values()
    assert warning.startswith("has had a daily mean of 34")
    assert "Shade" in warning


def test_a_keeper_of_fahrenheit_types_and_reads_fahrenheit(keeper: Keeper, tmp_path: Path) -> None:
    """30 °C is 86 °F, 34 °C is 93.2 °F: NIST SP 811, B.8."""
    (tmp_path / "keeper.toml").write_text('zone = "America/Chicago"\ntemperature_unit = "F"\n', encoding="utf-8")
    keeper.settings = files.load(tmp_path)
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    assert keeper.temperatures.measured("Roof", 30, 34, NOW.date()).words == "Roof, 2026-07-20: 86 to 93.2 °F."
    assert lately(keeper, "Roof", NOW) == "86 to 93.2 °F on Mon 20 Jul, recorded."
    (warning,) = Outlooks(keeper).heat_warnings(keeper.state, NOW).values()
    assert warning.startswith("has had a daily mean of 89.6 °F; from 86 °F warmth can spoil wings")
    with pytest.raises(NotUnderstood, match="212 to 68 °F cannot be"):
        keeper.temperatures.measured("Roof", 100, 20, NOW.date())
    (tmp_path / "expected.csv").write_text("day,low_f,high_f\n2026-07-21,50,86\n", encoding="utf-8")
    assert expected_days(keeper.settings, tmp_path)[""][0][1:] == (10, 30)


def test_what_is_known_of_a_places_temperature_is_told(keeper: Keeper, tmp_path: Path) -> None:
    assert lately(keeper, "Roof", NOW) == "nothing is known."
    logged.temperatures(keeper, readings(tmp_path, 24), "porch", ["Roof"])
    assert lately(keeper, "Roof", NOW).startswith("24 °C at ")
    assert lately(keeper, "Roof", NOW).endswith(", 24 to 24 °C within a day (logger porch).")
    assert "no readings from porch since " in lately(keeper, "Roof", NOW + timedelta(days=3))


def test_past_forecasts_are_scored(keeper: Keeper, tmp_path: Path) -> None:
    for number in range(8):
        keeper.pupae.found(f"M{number}", "Roof", when=days_ago(16 + number / 8))
        keeper.pupae.emerged(f"M{number}", when=days_ago(3 + number / 8))
    ((name, score),) = scores(keeper, NOW)
    assert name == "Monarch"
    assert score.n > 50
    assert 0 <= score.coverage <= 1


def varied(folder: Path, celsius: float, name: str, until_days_ago: float = 0) -> Path:
    """Twenty days of an hourly logger, warmer by day than by night, silent since."""
    rows = [NOW - timedelta(hours=hours) for hours in range(24 * 20, int(24 * until_days_ago) - 1, -1)]
    lines = ["Time,T °C", *(f"{at:%Y-%m-%d %H:%M}+00:00,{celsius + at.hour % 12 / 4}" for at in rows)]
    (folder / name).write_text("\n".join(lines), encoding="utf-8")
    return folder / name


def test_a_logger_silent_for_a_day_is_told_of_everywhere(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    logged.temperatures(keeper, varied(tmp_path, 20, "log.csv", 4), "porch", ["Roof"])
    morning = Advice(keeper, keeper.moves).morning(NOW)
    assert "no readings from porch since Thu" in headline(morning)
    (line,) = logger_lines(morning.picture.known.loggers, NOW, "America/Chicago")
    assert line.startswith("Roof: no readings from porch since Thu; the warmth since then is estimated")
    keeper.temperatures.measured("Roof", 15, 27, date(2026, 7, 19))
    assert "no readings" not in headline(Advice(keeper, keeper.moves).morning(NOW))


def test_a_logger_that_spoke_within_a_day_is_not_told_of(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    logged.temperatures(keeper, varied(tmp_path, 20, "log.csv", 0.9), "porch", ["Roof"])
    assert not Advice(keeper, keeper.moves).morning(NOW).picture.known.loggers


def test_two_loggers_in_one_place_are_averaged_said_once_and_a_wide_spread_is_told(
    keeper: Keeper, tmp_path: Path
) -> None:
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    logged.temperatures(keeper, varied(tmp_path, 20, "a.csv"), "a", ["Roof"])
    told = logged.temperatures(keeper, varied(tmp_path, 24, "b.csv"), "b", ["Roof"])
    assert any("Another logger measures Roof as well (a): their mean is used" in note for note in told.notes)
    assert not any("mean" in note for note in logged.temperatures(keeper, tmp_path / "b.csv", "b", ["Roof"]).notes)
    known = conditions(keeper, NOW)
    assert min(known.temperatures["Roof"].celsius) == 22
    assert known.loggers["Roof"].apart_c == pytest.approx(4)
    keeper.settings = msgspec.structs.replace(
        keeper.settings, places=[msgspec.structs.replace(keeper.settings.place("Roof"), logger="B")]
    )
    assert min(conditions(keeper, NOW).temperatures["Roof"].celsius) == 24
    assert not conditions(keeper, NOW).loggers


def test_a_stuck_sensor_is_left_out_and_said(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("M1", "Roof", when=days_ago(5))
    path = varied(tmp_path, 20, "log.csv")
    lines = path.read_text(encoding="utf-8").splitlines()
    stuck = [*lines[: -24 * 11], *(f"{line.split(',')[0]},21.0" for line in lines[-24 * 11 :])]
    path.write_text("\n".join(stuck), encoding="utf-8")
    logged.temperatures(keeper, path, "porch", ["Roof"])
    known = conditions(keeper, NOW)
    assert len(known.temperatures["Roof"].celsius) == 24 * 9 + 2
    (line,) = logger_lines(known.loggers, NOW, "America/Chicago")
    assert "porch has read 21 °C without change since 9 Jul; these readings are left out" in line
