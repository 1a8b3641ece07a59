"""Copies of the journal: made before the first write of a day, whole or not at all, and put back without loss."""

import os
import sqlite3
import stat
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal import backup
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper


def bodies(path: Path) -> list[str]:
    """What another program reads in a journal or a copy."""
    with closing(sqlite3.connect(path)) as foreign:
        return [body for (body,) in foreign.execute("SELECT body FROM entry ORDER BY seq")]


def copies(keeper: Keeper) -> list[str]:
    folder = backup.folder_of(keeper.journal.path)
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []


def test_the_first_write_of_a_day_is_preceded_by_a_whole_copy_made_once(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    assert copies(keeper) == []  # nothing was there to copy
    before = bodies(keeper.journal.path)
    clock.on(days=1)
    keeper.places.looked(["Roof"])
    keeper.places.looked(["Jar"])
    assert copies(keeper) == ["journal-2026-09-09.db"]
    copy = backup.folder_of(keeper.journal.path) / "journal-2026-09-09.db"
    assert bodies(copy) == before
    assert backup.is_whole(copy)
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600


def test_the_day_of_a_copy_is_the_keepers_not_that_of_utc(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    clock.on(hours=16)
    keeper.places.looked(["Roof"])  # 22:40 in Chicago, the next day in UTC
    assert copies(keeper) == ["journal-2026-09-08.db"]


def test_a_copy_that_fails_does_not_stop_the_write_but_is_told(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    backup.folder_of(keeper.journal.path).write_text("in the way", encoding="utf-8")
    done = keeper.pupae.saw("A1", "set")
    assert [warning for warning in done.warnings if warning.startswith("No backup of the journal could be written to")]
    assert keeper.pupa("A1").stage_seen == "set"
    backup.folder_of(keeper.journal.path).unlink()
    assert keeper.pupae.saw("A1", "set").warnings == []


def test_a_damaged_journal_is_not_copied_over_a_good_copy(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    target = keeper.journal.path.with_name("mine.db")
    keeper.journal.copy_to(target)
    good = target.read_bytes()
    keeper.pupae.note("A1", "an unmistakable remark")
    keeper.journal.close()
    path = keeper.journal.path
    path.write_bytes(path.read_bytes().replace(b"unmistakable", b"unmistakaBle"))
    with pytest.raises(Unusable, match="would be damaged"):
        Journal(path).copy_to(target)
    assert target.read_bytes() == good
    assert not list(path.parent.glob("*.new"))


def test_a_copy_is_one_file_that_needs_no_log_beside_it(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")  # stands in the write-ahead log still
    target = keeper.journal.copy_to(keeper.journal.path.with_name("mine.db"))
    assert bodies(target) == bodies(keeper.journal.path)
    assert not list(target.parent.glob("mine.db-*"))
    with closing(sqlite3.connect(target)) as foreign:
        assert foreign.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_two_programs_may_make_the_copy_of_the_day_at_once(keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    keeper.pupae.found("A1", "Roof")
    wanted = keeper.journal.path.with_name("mine.db")

    class Slow(sqlite3.Connection):
        """A connection that lets the other program make the same copy while it makes its own."""

        def backup(self, target: sqlite3.Connection, **more: Any) -> None:
            super().backup(target, **more)
            with monkeypatch.context() as other:
                other.setattr(os, "getpid", lambda: 1)
                keeper.journal.copy_to(wanted)

    with closing(sqlite3.connect(keeper.journal.path, factory=Slow)) as slow:
        backup.copy(slow, wanted)
    assert backup.is_whole(wanted)
    assert bodies(wanted) == bodies(keeper.journal.path)


def test_restoring_keeps_the_file_that_was_there(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    copy = keeper.journal.copy_to(path.with_name("mine.db"))
    then = bodies(path)
    keeper.pupae.saw("A1", "darkening")
    later = bodies(path)
    keeper.journal.close()
    aside = backup.restore(copy, path, "now")
    assert aside == path.with_name("journal-replaced-now.db")
    assert (bodies(path), bodies(aside)) == (then, later)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_was_put_aside_can_be_put_back_with_its_newest_entries(
    keeper: Keeper, as_killed: Callable[[Path], Path]
) -> None:
    keeper.pupae.found("A1", "Roof")
    copy = keeper.journal.copy_to(keeper.journal.path.with_name("mine.db"))
    keeper.pupae.saw("A1", "darkening")
    path, later = as_killed(keeper.journal.path), bodies(keeper.journal.path)
    aside = backup.restore(copy, path, "first")
    assert aside is not None
    assert aside.with_name(aside.name + "-wal").stat().st_size > 0  # its log went with it
    assert backup.restore(aside, path, "second") == path.with_name("journal-replaced-second.db")
    assert bodies(path) == later


def test_a_restored_journal_gets_its_write_ahead_log_back(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    copy = keeper.journal.copy_to(path.with_name("mine.db"))
    keeper.journal.close()
    backup.restore(copy, path, "now")
    again = Keeper(Journal(path), keeper.settings, keeper.clock)
    again.pupae.saw("A1", "set")
    with closing(sqlite3.connect(path)) as foreign:
        assert foreign.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_only_a_whole_journal_is_put_in_place(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    torn = keeper.journal.copy_to(tmp_path / "torn.db")
    keeper.journal.close()
    torn.write_bytes(torn.read_bytes()[: torn.stat().st_size // 2])
    (tmp_path / "words.db").write_text("no journal", encoding="utf-8")
    before = sorted(other.name for other in path.parent.iterdir())
    for wrong in (torn, tmp_path / "words.db", tmp_path / "missing.db"):
        with pytest.raises(Unusable, match="nothing was changed"):
            backup.restore(wrong, path, "now")
    assert sorted(other.name for other in path.parent.iterdir()) == before
    assert len(bodies(path)) == 1


def test_the_newest_good_copy_is_found_and_bad_ones_passed_over(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    for _ in range(3):
        clock.on(days=1)
        keeper.pupae.note("A1", "an unmistakable remark")
    folder = backup.folder_of(keeper.journal.path)
    for day, name in enumerate(sorted(path.name for path in folder.iterdir())):
        os.utime(folder / name, (day, day))
    newest = folder / "journal-2026-09-11.db"
    assert next(backup.good_copies(keeper.journal.path)) == newest
    newest.write_bytes(newest.read_bytes().replace(b"unmistakable", b"unmistakaBle", 1))
    assert next(backup.good_copies(keeper.journal.path)) == folder / "journal-2026-09-10.db"
