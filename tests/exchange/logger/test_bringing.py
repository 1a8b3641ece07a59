"""Loggers' readings in a journal: no sensor is taken for another, and one that is carried elsewhere keeps its past.

What loggers do is common practice, no source; the rest is what this program promises its keeper.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.logger import bringing as logged
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import conditions

JUNE, JULY = datetime(2026, 6, 1, tzinfo=UTC), datetime(2026, 7, 1, tzinfo=UTC)


def log(path: Path, begin: datetime, celsius: float, hours: int = 240, **more: float) -> Path:
    """A logger's table: a value an hour in each column."""
    columns = {"temp °C": celsius, **more}
    lines = [",".join(["time", *columns])]
    for hour in range(hours):
        at = begin + timedelta(hours=hour)
        lines.append(",".join([f"{at:%Y-%m-%dT%H:%M}Z", *(f"{c + hour % 7 / 10}" for c in columns.values())]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def told_of(keeper: Keeper, place: str) -> tuple[list[datetime], list[float]]:
    known = conditions(keeper, keeper.clock()).temperatures[place]
    return [datetime.fromtimestamp(at, UTC) for at in known.at_seconds], [round(c) for c in known.celsius]


def test_a_logger_that_is_carried_on_tells_of_the_first_place_until_then(keeper: Keeper, tmp_path: Path) -> None:
    logged.temperatures(keeper, log(tmp_path / "june.csv", JUNE, 26), "log", ["Roof"])
    told = logged.temperatures(keeper, log(tmp_path / "july.csv", JULY, 15), "log", ["Jar"])
    assert "Sensor log belonged to Roof; from Tue 30 Jun 19:00 on it belongs to Jar." in told.notes
    roof, jar = told_of(keeper, "Roof"), told_of(keeper, "Jar")
    assert (min(roof[0]), max(roof[0]) < JULY, set(roof[1])) == (JUNE, True, {26, 27})
    assert (min(jar[0]), set(jar[1])) == (JULY, {15, 16})
    later = log(tmp_path / "later.csv", JULY + timedelta(days=10), 15)
    assert logged.temperatures(keeper, later, "log", ["Jar"]).notes == []
    assert (len(told_of(keeper, "Roof")[0]), len(told_of(keeper, "Jar")[0])) == (240, 480)
    logged.temperatures(keeper, tmp_path / "june.csv", "log", ["Roof"])  # nothing new: it corrects where it hung
    assert len(told_of(keeper, "Roof")[0]) == 720


def test_two_loggers_with_one_header_are_not_taken_for_one(keeper: Keeper, tmp_path: Path) -> None:
    logged.temperatures(keeper, log(tmp_path / "one.csv", JUNE, 20), "", ["Roof"])
    with pytest.raises(NotUnderstood, match="other readings of a sensor “temp °C” for the same time"):
        logged.temperatures(keeper, log(tmp_path / "two.csv", JUNE, 24), "", ["Jar"])
    logged.temperatures(keeper, tmp_path / "two.csv", "jar", ["Jar"])
    assert set(told_of(keeper, "Roof")[1]) == {20, 21}
    assert logged.temperatures(keeper, tmp_path / "one.csv", "", ["Roof"]).new == 0


def test_of_several_sensors_each_is_brought_to_its_own_place(keeper: Keeper, tmp_path: Path) -> None:
    path = log(tmp_path / "both.csv", JUNE, 20, **{"jar °C": 25, "Dew Point °C": 11})
    with pytest.raises(NotUnderstood, match="holds the sensors “jar °C”, “temp °C”"):
        logged.temperatures(keeper, path, "", ["Roof"])
    with pytest.raises(NotUnderstood, match="“attic” is not among them"):
        logged.temperatures(keeper, path, "attic", ["Roof"])
    logged.temperatures(keeper, path, "temp °C", ["Roof"])
    logged.temperatures(keeper, path, "Jar °C", ["Jar"])
    assert (set(told_of(keeper, "Roof")[1]), set(told_of(keeper, "Jar")[1])) == ({20, 21}, {25, 26})


def test_sensors_named_line_by_line_are_told_apart(keeper: Keeper, tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    lines = [
        f"{JUNE + timedelta(hours=hour):%Y-%m-%dT%H:%M}Z,{name},{celsius}"
        for hour in range(48)
        for name, celsius in (("porch", 20), ("cage", 28))
    ]
    path.write_text("\n".join(["time,sensor,temperature", *lines]) + "\n", encoding="utf-8")
    assert logged.temperatures(keeper, path, "", []).good == 96
    assert [name for name, *_ in keeper.journal.sensors()] == ["cage", "porch"]
    with pytest.raises(NotUnderstood, match="“attic” is not among them"):
        logged.temperatures(keeper, path, "attic", ["Roof"])
    logged.temperatures(keeper, path, "Cage", ["Roof"])
    assert set(told_of(keeper, "Roof")[1]) == {28}
    path.write_text(
        "\n".join(["time,temperature", *(line.replace("porch,", "").replace("cage,", "") for line in lines)]),
        encoding="utf-8",
    )
    with pytest.raises(NotUnderstood, match="are two loggers in it"):
        logged.temperatures(keeper, path, "new", ["Jar"])


def test_a_slip_in_the_name_of_a_place_is_told_before_anything_is_tied(
    keeper: Keeper, tmp_path: Path, run: Any
) -> None:
    path = log(tmp_path / "june.csv", JUNE, 20)
    answer = run("import", path, "--as", "temperatures", "--for", "Roofs")
    assert (answer.code, "did you mean Roof?" in answer.err) == (2, True)
    assert keeper.journal.sensors() == []
    answer = run("import", path, "--as", "temperatures", "--for", "Barn", "--dry-run")
    assert "240 good readings.\n" in answer.out
    assert "Barn is not described yet" in run("import", path, "--as", "temperatures", "--for", "Barn").out


def test_last_years_logger_is_no_gap_of_this_year(keeper: Keeper, tmp_path: Path) -> None:
    from pupawatch.care.forecast import timeline
    from pupawatch.care.forecast.sun import Sky

    logged.temperatures(keeper, log(tmp_path / "old.csv", JUNE - timedelta(days=365), 15), "old", ["Roof"])
    keeper.temperatures.measured("Roof", 20, 24, (JULY + timedelta(days=1)).date())
    known = conditions(keeper, JULY + timedelta(days=4)).temperatures["Roof"]
    first = int(JULY.timestamp() / 3600)
    line = timeline.build(known, Sky("UTC"), first, first + 96, 96)
    assert not line.filled[24:48].any()
    assert line.filled[48:96].all()
    kept = known._replace(constant_c=25.0)
    line = timeline.build(kept, Sky("UTC"), first, first + 96, 96)
    assert not line.filled.any()
    assert set(line.celsius[60:96].round(3)) == {25.0}


def test_many_faults_stop_the_import_unless_the_keeper_accepts_them(keeper: Keeper, tmp_path: Path, run: Any) -> None:
    """An autumn in °F read as °C: what lies above 60 °C is not passed over in silence."""
    values = [28 + n * 37 % 41 for n in range(400)]
    lines = [f"{JUNE + timedelta(hours=n):%Y-%m-%dT%H:%M}Z,{value}" for n, value in enumerate(values)]
    path = tmp_path / "autumn.csv"
    path.write_text("\n".join(["time,temp °C", *lines]), encoding="utf-8")
    answer = run("import", path, "--as", "temperatures", "--for", "Roof")
    assert answer.code == 2
    assert "readings are faulty" in answer.err
    assert "Is the unit right (read as °C)?" in answer.err
    assert keeper.journal.sensors() == []
    assert run("import", path, "--as", "temperatures", "--for", "Roof", "--accept").code == 0
    path.write_text("\n".join(["time,temp", *lines]), encoding="utf-8")
    asked = run("import", path, "--as", "temperatures", "--sensor", "b", "--for", "Jar")
    assert (asked.code, "--unit C or --unit F" in asked.err) == (2, True)
    told = run("import", path, "--as", "temperatures", "--sensor", "b", "--for", "Jar", "--unit", "f")
    assert (told.code, "400 good readings" in told.out) == (0, True)
