"""The computer's own zone, each asked of a real process with TZ set.

The expected offsets in July and January are those of the IANA time zone database (2026a); EST5EDT, CST6CDT, Japan and
the like are names of it too.
"""

import importlib
import json
import os
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tzlocal.windows_tz import win_tz

from pupawatch import cli
from pupawatch.errors import Unusable
from pupawatch.settings import zone

ROOT = Path(__file__).parents[2]
TWO_TIMES = """
import sys
from pupawatch.cli import main
words = ["--journal", sys.argv[1], "--config", sys.argv[2]]
for label, at in (("A1", "2026-01-14T06:40"), ("A2", "2025-07-14T06:40")):
    code = main([*words, "found", label, "--place", "Roof", "--between", at, at])
    if code:
        sys.exit(code)
sys.exit(main([*words, "history", "A1", "--json"]) or main([*words, "history", "A2", "--json"]))
"""


def with_tz(zone: str, *words: str) -> "subprocess.CompletedProcess[str]":
    """Run Python where TZ is set so."""
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT, env={**os.environ, "TZ": zone}, capture_output=True, text=True, check=False
    )


def records_of(out: str) -> list[dict[str, str]]:
    """The newest entry of each record that was printed."""
    decoder, found, at = json.JSONDecoder(), [], out.index("{")
    while at >= 0:
        record, end = decoder.raw_decode(out, at)
        found.append(record["entries"][-1])
        at = out.find("{", end)
    return found


@pytest.mark.parametrize(
    ("tz", "name", "january", "july"),
    [
        ("EST5EDT", "EST5EDT", -5, -4),
        ("CST6CDT", "CST6CDT", -6, -5),
        ("Singapore", "Singapore", 8, 8),
        ("Japan", "Japan", 9, 9),
        ("NZ", "NZ", 13, 12),
        ("GB", "GB", 0, 1),
        ("Egypt", "Egypt", 2, 3),
        ("CET", "CET", 1, 2),
        ("America/Chicago", "America/Chicago", -6, -5),
        (":America/Chicago", "America/Chicago", -6, -5),
        ("UTC", "UTC", 0, 0),
    ],
)
def test_a_time_is_typed_in_the_zone_of_the_computer(
    tz: str, name: str, january: int, july: int, tmp_path: Path
) -> None:
    done = with_tz(tz, "-c", TWO_TIMES, str(tmp_path / "j.db"), str(tmp_path / "config"))
    assert done.returncode == 0, done.stderr
    entries = records_of(done.stdout)
    assert [entry["zone"] for entry in entries] == [name, name]
    typed = [datetime(2026, 1, 14, 6, 40), datetime(2025, 7, 14, 6, 40)]
    assert [datetime.fromisoformat(entry["happened"]) for entry in entries] == [
        (at - timedelta(hours=offset)).replace(tzinfo=UTC) for at, offset in zip(typed, (january, july), strict=True)
    ]


@pytest.mark.parametrize("tz", ["Foo/Bar", "<-03>3", "EST5EDT,M3.2.0,M11.1.0", "../etc/passwd"])
def test_a_rule_without_a_name_is_asked_about(tz: str, tmp_path: Path) -> None:
    words = ["--journal", str(tmp_path / "j.db"), "--config", str(tmp_path / "config")]
    done = with_tz(tz, "-m", "pupawatch", *words, "found", "A1", "--place", "Roof")
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == (
        f"pupawatch: This computer's time zone is not clear: TZ is “{tz}”, which is not the name of a zone. "
        f'Write yours into {tmp_path / "config" / "keeper.toml"}, as in: zone = "America/Chicago"\n'
    )
    assert not (tmp_path / "j.db").exists()


def test_what_the_keeper_wrote_needs_no_clear_zone_of_the_computer(tmp_path: Path) -> None:
    (tmp_path / "keeper.toml").write_text('zone = "NZ"\n', encoding="utf-8")
    words = ["--journal", str(tmp_path / "j.db"), "--config", str(tmp_path)]
    assert with_tz("<-03>3", "-m", "pupawatch", *words, "found", "A1", "--place", "Roof").returncode == 0
    told = with_tz("<-03>3", "-m", "pupawatch", *words, "history", "A1", "--json")
    assert records_of(told.stdout)[0]["zone"] == "NZ"


def test_an_empty_tz_is_what_the_clock_shows_or_is_asked_about(tmp_path: Path) -> None:
    """POSIX leaves an empty TZ to the system; where it is taken for UTC, no other name may be told."""
    done = with_tz("", "-c", TWO_TIMES, str(tmp_path / "j.db"), str(tmp_path / "config"))
    if done.returncode == 0:
        assert [entry["happened"][11:16] for entry in records_of(done.stdout)] == ["06:40", "06:40"]
    else:
        assert done.returncode == 3
        assert "is not clear: " in done.stderr


def test_twenty_hours_in_new_york_are_not_twenty_five(tmp_path: Path) -> None:
    """A pupa found 20.5 h ago, as a clock in New York shows it, is too soft: the rule waits for 24 h."""
    formed = datetime.now(UTC) - timedelta(hours=20.5)
    at = f"{formed.astimezone(ZoneInfo('America/New_York')):%Y-%m-%dT%H:%M}"
    words = ["-m", "pupawatch", "--journal", str(tmp_path / "j.db"), "--config", str(tmp_path / "config")]
    assert with_tz("EST5EDT", *words, "found", "A1", "--place", "Jar", "--between", at, at).returncode == 0
    moved = with_tz("EST5EDT", *words, "move", "A1", "Roof")
    assert moved.returncode == 1
    assert "at least 20 h" in moved.stderr or "at least 21 h" in moved.stderr


# -- what the system says of itself


@pytest.fixture
def system(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    """A system whose clock keeps New York's time, without TZ set: what it calls that is to be said by each test."""
    clock_of("America/New_York", monkeypatch)
    yield monkeypatch
    monkeypatch.undo()
    time.tzset()


def clock_of(zone: str, system: pytest.MonkeyPatch) -> None:
    """Have the clock of this process keep a zone's time as if its system were set so, not TZ."""
    system.setenv("TZ", zone)
    time.tzset()
    system.delenv("TZ")


def test_the_name_that_the_system_gives_is_taken_where_its_clock_agrees(system: pytest.MonkeyPatch) -> None:
    system.setattr("tzlocal.get_localzone_name", lambda: "US/Eastern")
    assert zone.machine_zone() == "US/Eastern"


@pytest.mark.parametrize("name", ["Etc/UTC", "America/Chicago", "America/Lima"])
def test_a_name_that_the_clock_does_not_keep_is_asked_about(system: pytest.MonkeyPatch, name: str) -> None:
    """Lima's clock agrees with New York's all winter, and never goes forward."""
    system.setattr("tzlocal.get_localzone_name", lambda: name)
    with pytest.raises(Unusable, match=rf"it is called {name}, but on .* the clock is -0[45]00 and not"):
        zone.machine_zone()


def test_a_zone_that_changes_its_clock_on_other_days_is_asked_about(system: pytest.MonkeyPatch) -> None:
    """Athens and Cairo keep the same time in winter and in summer; Cairo goes forward four weeks later."""
    clock_of("Europe/Athens", system)
    system.setattr("tzlocal.get_localzone_name", lambda: "Africa/Cairo")
    with pytest.raises(Unusable, match=r"it is called Africa/Cairo, but on .* the clock is \+0[23]00 and not"):
        zone.machine_zone()


@pytest.mark.parametrize(
    ("name", "told"), [(None, "names none"), ("Mars/Olympus", "“Mars/Olympus”, which is not a zone")]
)
def test_a_system_that_names_no_zone_is_asked_about(system: pytest.MonkeyPatch, name: str | None, told: str) -> None:
    system.setattr("tzlocal.get_localzone_name", lambda: name)
    with pytest.raises(Unusable, match=told):
        zone.machine_zone()


def test_settings_of_the_system_that_contradict_each_other_are_asked_about(system: pytest.MonkeyPatch) -> None:
    def contradicting() -> str:
        raise LookupError("Multiple conflicting time zone configurations found")

    system.setattr("tzlocal.get_localzone_name", contradicting)
    with pytest.raises(Unusable, match="name several"):
        zone.machine_zone()


def test_no_command_prints_what_the_library_complains_of(
    system: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    import logging
    import warnings

    def complaining() -> str:
        logging.getLogger("tzlocal").warning("/etc/timezone is deprecated")
        warnings.warn("Syntax error in /etc/sysconfig/clock", stacklevel=1)
        return "America/New_York"

    system.setattr("tzlocal.get_localzone_name", complaining)
    assert cli.main(["--journal", str(tmp_path / "j.db"), "--config", str(tmp_path), "places"]) == 0
    assert "deprecated" not in capfd.readouterr().err


# -- what Windows says of itself: its registry, played by a stand-in


class Registry:
    """The one key of Windows's registry that names its zone, as ``winreg`` reads it."""

    HKEY_LOCAL_MACHINE = 0

    def __init__(self, **values: str | int) -> None:
        self.values = list(values.items())

    def ConnectRegistry(self, computer: None, key: int) -> "Registry":
        return self

    def OpenKey(self, handle: object, path: str) -> "Registry":
        return self

    def Close(self) -> None:
        pass

    def QueryInfoKey(self, key: object) -> tuple[int, int, int]:
        return 0, len(self.values), 0

    def EnumValue(self, key: object, index: int) -> tuple[str, str | int, int]:
        return *self.values[index], 1


def windows_called(system: pytest.MonkeyPatch, name: str, **more: int) -> None:
    """Have the name of the zone come from a registry that calls it so; Windows fills the name up with NULs."""
    system.setitem(sys.modules, "winreg", Registry(TimeZoneKeyName=name + "\0" * 20, **more))  # type: ignore[arg-type]
    system.delitem(sys.modules, "tzlocal.win32", raising=False)
    windows = importlib.import_module("tzlocal.win32")
    system.setattr("tzlocal.get_localzone_name", windows.get_localzone_name)
    system.delitem(sys.modules, "tzlocal.win32")


@pytest.mark.parametrize(("name", "iana"), sorted(win_tz.items()))
def test_every_zone_that_windows_knows_is_taken(system: pytest.MonkeyPatch, name: str, iana: str) -> None:
    """The names and their zones are those of Unicode's CLDR (windowsZones.xml), as tzlocal carries them."""
    clock_of(iana, system)
    windows_called(system, name)
    assert zone.machine_zone() == iana


def test_windows_names_a_zone_that_its_clock_does_not_keep(system: pytest.MonkeyPatch) -> None:
    windows_called(system, "Tokyo Standard Time")
    with pytest.raises(Unusable, match="it is called Asia/Tokyo, but on"):
        zone.machine_zone()


def test_windows_without_summer_time_is_an_offset_of_whole_hours(system: pytest.MonkeyPatch) -> None:
    clock_of("Etc/GMT+5", system)
    windows_called(system, "Eastern Standard Time", DynamicDaylightTimeDisabled=1)
    assert zone.machine_zone() == "Etc/GMT+5"


def test_a_name_of_windows_that_nobody_knows_is_asked_about(system: pytest.MonkeyPatch) -> None:
    windows_called(system, "Olympus Standard Time")
    with pytest.raises(Unusable, match="calls it “Olympus Standard Time”, which is not a zone"):
        zone.machine_zone()


def test_windows_brings_no_zones_of_its_own_so_they_are_installed_with_the_program() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "tzdata; sys_platform == 'win32'" in project["dependencies"]
