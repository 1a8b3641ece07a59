"""The tables of temperature loggers: every maker's own, none of them guessed at twice."""

import random
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import sin
from pathlib import Path

import pytest

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange.logger import reading as logger
from pupawatch.exchange.logger.reading import Left, Reading

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)
CHICAGO = "America/Chicago"


def read(path: Path, zone: str = "UTC", **how: str) -> tuple[list[Reading], Left, logger.Layout]:
    layout = logger.understand(path, zone, **how)
    left = Left({}, {})
    return list(logger.readings(path, layout, NOW, left)), left, layout


def table(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "log.csv"
    path.write_bytes(text.encode(encoding))
    return path


def seconds(text: str) -> int:
    return int(datetime.fromisoformat(text + "+00:00").timestamp())


def test_a_plain_table_is_read(tmp_path: Path) -> None:
    good, left, _ = read(table(tmp_path, "Time,Temp °C\n2026-08-14 06:00,21.5\n2026-08-14 06:05,21.6\n"))
    assert good == [
        Reading("Temp °C", seconds("2026-08-14T06:00"), 21.5),
        Reading("Temp °C", seconds("2026-08-14T06:05"), 21.6),
    ]
    assert left.counts == {}


def test_a_preamble_semicolons_decimal_commas_and_another_encoding_are_understood(tmp_path: Path) -> None:
    text = "Gerät;Nr 7\nOrt;Küche\n\nDatum;Uhrzeit;Temperatur °C;Feuchte %\n"
    text += "14.08.2026;06:00;21,5;60,1\n14.08.2026;06:05;21,6;60,2\n"
    good, _, layout = read(table(tmp_path, text, "cp1252"))
    assert [(r.at, r.celsius) for r in good] == [
        (seconds("2026-08-14T06:00"), 21.5),
        (seconds("2026-08-14T06:05"), 21.6),
    ]
    assert layout.time_layout == "%d.%m.%Y %H:%M"


def test_fahrenheit_in_the_header_is_turned_into_celsius(tmp_path: Path) -> None:
    """Water freezes at 32 and boils at 212 °F; 95 °F are 35 °C (definition of the scale)."""
    good, _, _ = read(table(tmp_path, "Time,Temp °F\n2026-08-14 06:00,32\n2026-08-14 07:00,95\n"))
    assert [r.celsius for r in good] == [0, 35]


def test_several_sensors_keep_their_names(tmp_path: Path) -> None:
    good, _, _ = read(table(tmp_path, "Time,roof °C,jar °C\n2026-08-14 06:00,21,25\n"))
    assert [(r.sensor, r.celsius) for r in good] == [("roof °C", 21), ("jar °C", 25)]


def test_humidity_and_battery_are_no_temperatures(tmp_path: Path) -> None:
    good, _, _ = read(
        table(tmp_path, "#,Time,Temp,RH,Battery V\n1,2026-08-14 06:00,21,65,3.0\n2,2026-08-14 06:05,22,64,3.0\n")
    )
    assert [r.celsius for r in good] == [21, 22]


def test_day_and_month_are_told_apart_by_what_runs_forward(tmp_path: Path) -> None:
    good, _, layout = read(
        table(tmp_path, "Time,T °C\n03/05/2026 23:00,20\n04/05/2026 00:00,20\n04/05/2026 01:00,20\n")
    )
    assert layout.time_layout == "%d/%m/%Y %H:%M"
    assert good[0].at == seconds("2026-05-03T23:00")


def test_a_day_that_could_be_a_month_is_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path, "Time,T °C\n03/05/2026 06:00,20\n03/05/2026 07:00,20\n")
    with pytest.raises(NotUnderstood, match="--layout"):
        read(path)
    good, _, _ = read(path, layout="%m/%d/%Y %H:%M")
    assert good[0].at == seconds("2026-03-05T06:00")


def test_impossible_readings_are_counted_and_left_out(tmp_path: Path) -> None:
    lines = [
        "Time,T °C",
        "2026-08-14 06:00,21",
        "2026-08-14 06:01,-127",
        "2026-08-14 06:01,52",
        "2026-08-14 06:03,21.2",
    ]
    lines += ["2026-08-14 06:04,abc", "2099-08-14 06:05,20", "soon,20"]
    good, left, _ = read(table(tmp_path, "\n".join(lines)))
    assert [r.celsius for r in good] == [21, 21.2]
    assert sum(left.counts.values()) == 5
    assert left.first_line["a temperature outside -40 to 60 °C, a fault of the sensor"] == 3


def test_the_hour_that_comes_twice_is_told_by_its_order(tmp_path: Path) -> None:
    """Chicago, 2 November 2025, 02:00: the clocks go back (IANA time zone database)."""
    text = "Time,T °C\n2025-11-02 00:30,15\n2025-11-02 01:30,15\n2025-11-02 01:30,15\n2025-11-02 02:30,15\n"
    good, _, _ = read(table(tmp_path, text), CHICAGO)
    assert [(b.at - a.at) / 3600 for a, b in pairwise(good)] == [1, 1, 1]


def test_a_time_that_never_was_is_left_out(tmp_path: Path) -> None:
    _, left, _ = read(table(tmp_path, "Time,T °C\n2026-03-08 01:30,15\n2026-03-08 02:30,15\n"), CHICAGO)
    assert sum(left.counts.values()) == 1


@pytest.mark.parametrize("text", ["", "a,b\nc,d\n", "Time\n2026-08-14 06:00\n", "Time,RH %\n2026-08-14 06:00,60\n"])
def test_a_table_without_times_or_temperatures_is_not_understood(tmp_path: Path, text: str) -> None:
    with pytest.raises(NotUnderstood):
        read(table(tmp_path, text))


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(bytes(range(256)) * 10)
    with pytest.raises((NotUnderstood, Unusable)):
        read(path)


def test_long_names_that_differ_only_in_their_end_stay_two_sensors(tmp_path: Path) -> None:
    """Headers as loggers write them, from memory: the serial number first, the label last."""
    head = ",".join(f'"Temp, °C (Logger S/N 20512345, Sensor S/N 20512345, Label: Cage {end})"' for end in "AB")
    got, _, layout = read(table(tmp_path, f"Time,{head}\n2026-08-14 06:00,20.5,25.5\n"))
    assert len(layout.columns) == 2
    assert sorted(reading.celsius for reading in got) == [20.5, 25.5]


def test_a_cell_without_end_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(NotUnderstood, match="not a table of text"):
        read(table(tmp_path, "Time,Temp °C\n2026-08-14 06:00," + "9" * 140_000 + "\n"))


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("time,shelf\n2026-06-01 00:00,21.5\n", 21.5),
        ("Device: Basement shelf\ntime,temp\n2026-06-01 00:00,21.5\n", 21.5),
        ("time,reading\n2026-06-01 00:00,68.0 °F\n", 20),
        ("time,value,unit\n2026-06-01 00:00,68.0,F\n", 20),
        ("Unit: Fahrenheit\ntime,temp\n2026-06-01 00:00,68\n", 20),
        ("time,T °C,T °F\n2026-06-01 00:00,20,68\n", 20),
        ("time,Temp F\n2026-06-01 00:00,68\n", 20),
    ],
)
def test_the_unit_is_taken_from_where_it_stands(tmp_path: Path, text: str, celsius: float) -> None:
    """68 °F are 20 °C: NIST SP 811, B.8."""
    got, _, _ = read(table(tmp_path, text))
    assert [reading.celsius for reading in got] == [celsius]


def test_temperatures_that_only_fahrenheit_explains_are_asked_about(tmp_path: Path) -> None:
    with pytest.raises(NotUnderstood, match="are they in °F"):
        read(table(tmp_path, "time,temp\n2026-06-01 00:00,68\n2026-06-01 01:00,70\n"))


def test_a_time_in_the_preamble_is_not_the_first_reading(tmp_path: Path) -> None:
    text = "Start,2026-06-01 00:00:00\nStop,2026-06-02 00:00:00\n\nTime,Temp\n"
    text += "2026-06-01 00:00:00,20\n2026-06-01 01:00:00,21\n2026-06-01 02:00:00,22\n"
    got, _, _ = read(table(tmp_path, text))
    assert [reading.celsius for reading in got] == [20, 21, 22]


@pytest.mark.parametrize(
    ("times", "layout"),
    [
        (("13/06/2026 11:00:00 PM", "14/06/2026 12:00:00 AM"), "%d/%m/%Y %I:%M:%S %p"),
        (("06/13/26 11:00:00 PM", "06/14/26 12:00:00 AM"), "%m/%d/%y %I:%M:%S %p"),
        (("1781391600", "1781395200"), "seconds since 1970"),
    ],
)
def test_more_layouts_of_time_are_known(tmp_path: Path, times: tuple[str, str], layout: str) -> None:
    """1781391600 is 2026-06-13T23:00Z: POSIX time, by `date -u -d @1781391600`."""
    got, _, how = read(table(tmp_path, "t,temp\n" + "".join(f"{time},20\n" for time in times)))
    assert how.time_layout == layout
    assert [reading.at for reading in got] == [seconds("2026-06-13T23:00"), seconds("2026-06-14T00:00")]


@pytest.mark.parametrize(
    ("header", "hour"), [("Date Time, GMT-05:00", 11), ("Time (UTC+0530)", 0), ("Time utc +1", 5), ("Time", 12)]
)
def test_an_offset_in_the_header_holds_whatever_the_season(tmp_path: Path, header: str, hour: int) -> None:
    """In January Chicago is six hours behind UTC: IANA time zone database."""
    got, _, _ = read(table(tmp_path, f'"{header}",temp\n2026-01-14 06:00,20\n'), CHICAGO)
    assert datetime.fromtimestamp(got[0].at, UTC).hour == hour


def minutes(values: list[float], unit: str = "") -> str:
    """A reading every ten minutes."""
    begin = datetime(2026, 6, 1, tzinfo=UTC)
    lines = [f"{begin + timedelta(minutes=10 * n):%Y-%m-%d %H:%M},{value}{unit}" for n, value in enumerate(values)]
    return "time,temp\n" + "\n".join(lines) + "\n"


def test_no_unit_and_values_that_allow_both_ask(tmp_path: Path) -> None:
    """38 °F are 3 °C, and 38 °C a hot day."""
    with pytest.raises(NotUnderstood, match=r"names no unit.*--unit C or --unit F"):
        read(table(tmp_path, minutes([38, 39, 38, 37])))
    good, _, layout = read(table(tmp_path, minutes([41, 41])), unit="F")
    assert [r.celsius for r in good] == [5, 5]
    assert "in °F (as you say)" in layout.lines()[1]


def test_the_keepers_unit_is_tried_first_and_said(tmp_path: Path) -> None:
    path = table(tmp_path, minutes([68, 70, 59, 50]))
    good, _, layout = read(path, usual="F")
    assert good[0].celsius == 20
    assert "in °F (the file names no unit; this one fits)" in layout.lines()[1]
    with pytest.raises(NotUnderstood, match="are they in °F"):
        read(path, usual="C")
    with pytest.raises(NotUnderstood, match="are they in °C"):
        read(table(tmp_path, minutes([21, 22, 23])), usual="F")


@pytest.mark.parametrize("usual", ["C", "F"])
@pytest.mark.parametrize("written", ["C", "F"])
def test_of_forty_seasons_none_is_read_in_the_wrong_unit(tmp_path: Path, written: str, usual: str) -> None:
    """Drawn springs, summers and autumns from a room at 24 °C to frost, no unit named: read rightly, or asked."""
    asked = 0
    for seed in range(40):
        drawn = random.Random(seed)
        mean, swing = drawn.uniform(2, 28), drawn.uniform(0.5, 9)
        celsius = [mean + swing * sin(n / 24) + drawn.gauss(0, 1) for n in range(300)]
        path = table(tmp_path, minutes([round(c * 1.8 + 32, 1) if written == "F" else round(c, 1) for c in celsius]))
        try:
            good, left, _ = read(path, usual=usual)
        except NotUnderstood as error:
            asked += "--unit" in str(error) or "are they in" in str(error)
            continue
        assert left.counts == {}
        assert [reading.celsius for reading in good] == pytest.approx(celsius, abs=0.1)
    assert asked == 40 if written != usual else asked < 20  # those of the usual unit may be asked for too


def test_a_named_unit_needs_no_guess(tmp_path: Path) -> None:
    _, _, layout = read(table(tmp_path, "time,temp °C\n2026-06-01 00:00,38\n"), usual="F")
    assert layout.lines()[1] == "Sensors, in °C: temp °C."


@pytest.mark.parametrize("begin", [12.0, 16.0, 21.0, 30.0])
def test_a_unit_that_changes_midway_stops_at_its_line(tmp_path: Path, begin: float) -> None:
    """From −40 up the two scales part; at 12 °C (53.6 °F) the figures of the other unit are still possible in °C."""
    celsius = [begin + n % 7 / 5 for n in range(300)]
    changed = celsius[:250] + [round(c * 1.8 + 32, 1) for c in celsius[250:]]
    with pytest.raises(NotUnderstood, match="line 252: the unit seems to change from °C to °F"):
        read(table(tmp_path, minutes(changed)), unit="C")
    back = [round(c * 1.8 + 32, 1) for c in celsius[:250]] + celsius[250:]
    with pytest.raises(NotUnderstood, match="line 252: the unit seems to change from °F to °C"):
        read(table(tmp_path, minutes(back)), unit="F")


def test_a_spot_of_sun_is_no_change_of_unit(tmp_path: Path) -> None:
    values = [15.0] * 300
    values[250:256] = [59.0, 58.0, 57.0, 52.0, 30.0, 20.0]  # 15 °C are 59 °F
    good, _, _ = read(table(tmp_path, minutes(values)))
    assert len(good) == 300


def test_a_new_heading_or_a_cell_with_another_unit_stops(tmp_path: Path) -> None:
    body = minutes([20.0] * 300)
    with pytest.raises(NotUnderstood, match="line 302: the unit seems to change"):
        read(table(tmp_path, body + "time,temp °F\n2026-06-04 00:00,68\n"))
    with pytest.raises(NotUnderstood, match="line 302: the unit seems to change"):
        read(table(tmp_path, body + "2026-06-04 00:00,68 °F\n"))
