"""Which copies are kept: twelve days, ten weeks, nine months; and a full disk never costs the last good one.

That a week begins on a Monday is ISO 8601; the numbers are this program's promise.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch.journal import backup, tiers
from pupawatch.keeper import Keeper

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 9, 8)  # a Tuesday
DAYS = st.lists(st.dates(date(2020, 1, 1), date(2030, 12, 31)), max_size=60)


def test_a_keeper_of_two_years_has_the_last_days_then_weeks_then_months() -> None:
    kept = tiers.kept(TODAY - timedelta(days=n) for n in range(730))
    daily = {TODAY - timedelta(days=n) for n in range(12)}
    sundays = {date(2026, 9, 6) - timedelta(weeks=n) for n in range(9)}
    months = {date(2026, month, 1) - timedelta(days=1) for month in range(2, 10)}  # their last days, January to August
    assert kept == daily | sundays | months


def test_a_few_copies_are_all_kept() -> None:
    few = {TODAY - timedelta(days=n) for n in range(12)}
    assert tiers.kept(few) == few


@given(days=DAYS)
def test_the_newest_are_always_kept_and_pruning_again_changes_nothing(days: list[date]) -> None:
    kept = tiers.kept(days)
    assert kept <= set(days)
    assert set(sorted(set(days))[-12:]) <= kept
    assert len(kept) <= 12 + 10 + 9
    assert tiers.kept(kept) == kept


@given(days=DAYS, later=st.lists(st.dates(date(1970, 1, 1), date(2099, 12, 31)), max_size=3))
def test_a_clock_that_jumps_costs_hardly_anything(days: list[date], later: list[date]) -> None:
    lost = tiers.kept(days) - tiers.kept([*days, *later])
    assert len(lost) <= 3 * len(set(later))  # one place in each tier for each wrong day


def test_day_by_day_a_season_ends_with_the_same_copies_as_all_at_once() -> None:
    left: set[date] = set()
    for n in range(200):
        left = tiers.kept({*left, TODAY + timedelta(days=n)})
    months = {(day.year, day.month) for day in left}
    assert len(months) == 7  # of 200 days
    assert left >= {TODAY + timedelta(days=n) for n in range(188, 200)}


def test_only_daily_copies_are_pruned_and_only_after_a_new_one(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    folder = backup.folder_of(keeper.journal.path)
    folder.mkdir()
    old = [TODAY - timedelta(days=n) for n in range(1, 400)]
    for day in old:
        backup.dated(keeper.journal.path, day).write_text("stands for a copy", encoding="utf-8")
    others = ["journal-2020-01-01T000000Z.db", "journal-format-1.db", "mine.db", "journal-2020-01-01.txt"]
    for name in others:
        (folder / name).write_text("not a daily copy", encoding="utf-8")
    keeper.pupae.saw("A1", "set")
    left = {path.name for path in folder.iterdir()}
    assert left == {*others, *(backup.dated(keeper.journal.path, day).name for day in tiers.kept([TODAY, *old]))}
    assert backup.is_whole(backup.dated(keeper.journal.path, TODAY))


def test_a_full_disk_costs_no_copy(keeper: Keeper, clock: Any) -> None:
    for day in range(20):
        keeper.pupae.found(f"A{day}", "Roof")
        clock.on(days=1)
    for number in range(300):
        keeper.places.looked([f"place {number}"])
    path = keeper.journal.path
    keeper.journal.close()
    folder = backup.folder_of(path)
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    code = (
        "import pathlib, resource, datetime\n"
        "from pupawatch import settings\n"
        "from pupawatch.journal.file import Journal\n"
        "from pupawatch.keeper import Keeper\n"
        f"now = datetime.datetime.fromisoformat({clock.now.isoformat()!r}) + datetime.timedelta(days=1)\n"
        f"keeper = Keeper(Journal(pathlib.Path({str(path)!r})), settings.load(pathlib.Path('nowhere')), lambda: now)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY))\n"
        "print(keeper.places.looked(['Roof']).warnings)\n"
    )
    assert path.stat().st_size > 150_000
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "No backup of the journal could be written" in done.stdout
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before


@pytest.mark.skipif(not hasattr(os, "posix_fadvise"), reason="only there what was cached can be let go of")
def test_a_copy_is_read_back_from_the_disk_before_it_counts(keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    keeper.pupae.found("A1", "Roof")
    done: list[str] = []

    def noted(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any) -> Any:
            done.append(name)
            return real(*given)

        return call

    for name in ("fsync", "posix_fadvise"):
        real = getattr(os, name)
        monkeypatch.setattr(os, name, noted(name, real))
    whole = backup.is_whole
    monkeypatch.setattr(backup, "is_whole", lambda path: noted(path.suffix, whole)(path))
    keeper.journal.copy_to(keeper.journal.path.with_name("mine.db"))
    assert done[:3] == ["fsync", "posix_fadvise", ".new"]
