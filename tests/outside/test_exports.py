"""Tables and calendar by other people's programs: frictionless (Table Schema), pandas, and vobject (RFC 5545)."""

import csv
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pupawatch.keeper import Keeper
from pupawatch.model.times import Span

frictionless = pytest.importorskip("frictionless")
vobject = pytest.importorskip("vobject")


@pytest.fixture(autouse=True)
def limit() -> Iterator[None]:
    """frictionless raises the longest field of the whole process when it reads; other tests rest on the usual one."""
    usual = csv.field_size_limit()
    yield
    csv.field_size_limit(usual)


@pytest.fixture
def season(keeper: Keeper) -> Keeper:
    now = keeper.clock()
    keeper.broods.tell("B1", "wild-egg", {"eggs": 12})
    for number, label in enumerate(("A1", "=1+1", "né")):
        formed = now - timedelta(days=9 + number)
        keeper.pupae.found(label, "Roof", when=Span(formed - timedelta(hours=9), formed))
    keeper.moves.move("A1", "Jar")
    keeper.pupae.emerged("né")
    keeper.temperatures.measured("Roof", -3.5, 21, now.date() - timedelta(days=1))
    return keeper


def test_frictionless_finds_nothing_wrong_with_the_tables(
    season: Keeper, run: Callable[..., Any], tmp_path: Path
) -> None:
    assert run("export", tmp_path / "out", "--as", "tables").code == 0
    report = frictionless.Package(str(tmp_path / "out" / "datapackage.json")).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "note"])
    pupae = pd.read_csv(tmp_path / "out" / "pupae.csv", parse_dates=["formed_to"])
    assert list(pupae["moves"]) == [0, 0, 1]
    with (tmp_path / "out" / "pupae.csv").open(encoding="utf-8", newline="") as file:
        assert [row["label"] for row in csv.DictReader(file)] == ["né", "'=1+1", "A1"]


def test_notes_leave_only_when_asked(season: Keeper, run: Callable[..., Any], tmp_path: Path) -> None:
    season.pupae.note("A1", "by the window")
    run("export", tmp_path / "a", "--as", "tables")
    run("export", tmp_path / "b", "--as", "tables", "--with-notes")
    assert "by the window" not in (tmp_path / "a" / "pupae.csv").read_text(encoding="utf-8")
    assert "by the window" in (tmp_path / "b" / "pupae.csv").read_text(encoding="utf-8")


def events(path: Path) -> dict[str, Any]:
    (calendar,) = vobject.readComponents(path.read_text(encoding="utf-8"))
    calendar.validate(raiseException=True)
    return {event.uid.value: event for event in calendar.vevent_list}


def test_vobject_reads_the_calendar_and_a_second_one_names_the_same_events(
    season: Keeper, run: Callable[..., Any], tmp_path: Path, clock: Any
) -> None:
    assert run("export", tmp_path / "a.ics", "--as", "calendar").code == 0
    first = events(tmp_path / "a.ics")
    assert any(uid.startswith("emerges-") for uid in first)
    assert any(uid.startswith("release-") for uid in first)
    assert not any(hasattr(event, "valarm") for event in first.values())
    for event in first.values():
        assert event.dtend.value > event.dtstart.value
    clock.on(hours=1)
    run("export", tmp_path / "b.ics", "--as", "calendar", "--alarm", "30")
    second = events(tmp_path / "b.ics")
    assert set(first) == set(second)
    assert all(event.valarm.trigger.value == -timedelta(minutes=30) for event in second.values())
