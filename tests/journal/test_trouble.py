"""What a home does to a journal: its file goes while it is open, its clock jumps, two keepers move one pupa at once.

Nothing of this is published anywhere; it is what this program promises its keeper.
"""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.journal import backup, schema
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Entry
from pupawatch.model.settings import Place

Run = Callable[..., Any]


def read(path: Path) -> list[Entry]:
    journal = Journal(path)
    try:
        return [entry for some in journal.read_all() for entry in some]
    finally:
        journal.close()


# -- the file goes while it is open


def delete(path: Path) -> None:
    path.unlink()


def move_away(path: Path) -> None:
    path.rename(path.with_name("elsewhere.db"))


def replace(path: Path) -> None:
    other = path.with_name("other.db")
    shutil.copy(path, other)
    other.replace(path)


def remove_the_folder(path: Path) -> None:
    path.parent.rename(path.parent.with_name("gone"))
    path.parent.mkdir()


@pytest.mark.parametrize("do", [delete, move_away, replace, remove_the_folder])
def test_a_file_that_goes_while_it_is_open_is_told_at_once_and_nothing_is_lost(
    keeper: Keeper, do: Callable[[Path], None]
) -> None:
    keeper.found("A1", "Roof")
    keeper.saw("A1", "set")
    path = keeper.journal.path
    do(path)
    with (
        pytest.raises(Unusable, match=r"was (deleted|replaced).*Nothing was written.*is saved in"),
        keeper.journal.writing(date(2026, 9, 8)) as append,
    ):
        append([])
    saved = path.with_name("journal-rescued-1.db")
    assert [entry.about for entry in read(saved)] == [keeper.pupa("A1").id] * 2
    for look in (keeper.refresh, lambda: keeper.saw("A1", "darkening")):  # a dashboard that only looks is told too
        with pytest.raises(Unusable, match="while it was open"):
            look()
    assert not path.with_name("journal-rescued-2.db").exists()
    keeper.journal.close()
    backup.restore(saved, path, "now")
    assert len(read(path)) == 2


def test_a_log_that_is_left_without_its_journal_is_not_passed_over(run: Run, keeper: Keeper) -> None:
    keeper.found("A1", "Roof")
    path = keeper.journal.path
    log = path.with_name("journal.db-wal").read_bytes()
    keeper.journal.close()
    path.unlink()
    path.with_name("journal.db-wal").write_bytes(log)
    for command in (["pupae"], ["found", "A2", "--place", "Roof"], ["check"]):
        answer = run(*command)
        assert (answer.code, answer.out) == (3, "")
        assert "is gone, but the log beside it, journal.db-wal, still holds entries" in answer.err
    assert "1 more entries" in run("restore").out
    assert run("history", "A1").code == 0
    assert run("check").code == 0


@pytest.mark.parametrize("do", [delete, lambda path: os.truncate(path, 0)])
def test_a_journal_that_is_gone_or_empty_but_has_copies_does_not_read_as_a_new_one(
    run: Run, journal_path: Path, clock: Any, do: Callable[[Path], None]
) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=1)
    run("looked")
    do(journal_path)
    for command in (["pupae"], ["found", "A2", "--place", "Roof"], ["check"]):
        answer = run(*command)
        assert (answer.code, answer.out) == (3, "")
        assert "but there are copies of it in" in answer.err
    assert run("restore").code == 0
    assert run("history", "A1").code == 0


def test_a_folder_that_is_gone_whole_is_told(keeper: Keeper) -> None:
    keeper.found("A1", "Roof")
    shutil.rmtree(keeper.journal.path.parent)
    with pytest.raises(Unusable, match="was deleted, moved away or cut off while it was open here"):
        keeper.saw("A1", "set")


# -- the clock


@pytest.mark.parametrize("then", [datetime(1970, 1, 1, 0, 10, tzinfo=UTC), datetime(2026, 9, 7, 11, 40, tzinfo=UTC)])
def test_a_clock_that_was_put_back_is_told_and_nothing_is_lost_or_doubled(
    keeper: Keeper, clock: Any, then: datetime
) -> None:
    keeper.found("A1", "Roof")
    right, clock.now = clock.now, then
    done = keeper.looked(["Jar"])
    assert done.warnings[0].startswith(f"The clock shows {then - timedelta(hours=5 + (then.year == 1970)):%Y-%m-%d}")
    assert keeper.undo().words == "Undone: Jar looked over."
    clock.now = right + timedelta(hours=1)
    assert keeper.looked(["Jar"]).warnings == []
    assert len(read(keeper.journal.path)) == 4
    again = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert (again.state.looks["Jar"], list(again.state.pupae)) == ([clock.now], [keeper.pupa("A1").id])


def test_a_clock_that_was_put_back_opens_no_way_around_the_rule(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Jar")
    clock.now = datetime(1970, 1, 1, 12, tzinfo=UTC)
    assert run("move", "A1", "Roof").code == 1
    assert run("today").code == 0


# -- two at once


def test_two_keepers_who_move_one_pupa_end_in_one_state_and_the_second_is_told(keeper: Keeper, clock: Any) -> None:
    keeper.found("A1", "Jar")
    clock.on(days=3)
    other = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert keeper.move("A1", "Roof").words == "A1 moved from Jar to Roof."
    with pytest.raises(NotUnderstood, match="A1 hangs in Roof already"):
        other.move("A1", "Roof")
    assert other.move("A1", "Line").words == "A1 moved from Roof to Line."
    keeper.refresh()
    assert keeper.state.pupae == other.state.pupae
    assert [move.origin for move in keeper.pupa("A1").relocations] == ["Jar", "Roof"]


# -- what check says beside damage


def test_check_tells_who_else_may_read_and_which_copies_are_bad(run: Run, journal_path: Path, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=1)
    run("looked")
    good = backup.folder_of(journal_path) / "journal-2026-09-09.db"
    good.with_name("journal-2026-09-01.db").write_text("torn")
    journal_path.chmod(0o644)
    answer = run("check")
    assert answer.code == 0
    assert f"1 good copy, the newest is {good}." in answer.out
    assert "Damaged copies, to be deleted: journal-2026-09-01.db." in answer.out
    assert f"Others on this computer can read {journal_path}" in answer.out


def test_check_looks_at_the_settings_too(run: Run, config: Path) -> None:
    run("found", "A1", "--place", "Roof")
    (config / "care.toml").write_text("[wings")
    answer = run("check")
    assert (answer.code, "all of them whole" in answer.out, "care.toml:1" in answer.err) == (3, True, True)


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER entry_kept_on_delete",
        "DROP INDEX entry_about",
        "CREATE TABLE more (x)",
        "CREATE TRIGGER reading_gone AFTER INSERT ON reading BEGIN SELECT 1; END",
    ],
)
def test_check_finds_what_was_changed_of_the_tables_and_their_guards(
    run: Run, journal_path: Path, statement: str
) -> None:
    run("found", "A1", "--place", "Roof")
    with closing(sqlite3.connect(journal_path)) as file:
        file.execute(statement)
    answer = run("check")
    assert answer.code == 3
    assert answer.out == "The file is damaged: its tables, indexes and triggers are not those of a journal.\n"
    assert run("today").code == 3


def test_a_hidden_entry_is_missed_before_anything_is_answered(run: Run, journal_path: Path) -> None:
    run("found", "A1", "--place", "Roof")
    run("found", "A2", "--place", "Roof")
    with closing(sqlite3.connect(journal_path)) as file, file:
        (page,) = file.execute("SELECT rootpage FROM sqlite_master WHERE name = 'entry'").fetchone()
    data = bytearray(journal_path.read_bytes())
    cells = (page - 1) * 4096 + 3
    assert data[cells : cells + 2] == b"\0\2"
    data[cells + 1] = 1  # a page that says it holds one entry less: each that is left adds up
    journal_path.write_bytes(data)
    for command in (["pupae"], ["history", "A1"], ["looked"], ["undo"]):
        answer = run(*command)
        assert (answer.code, answer.out) == (3, "")
        assert "is damaged; run `pupawatch check`" in answer.err
    assert run("check").code == 3


def test_a_reading_cannot_be_changed_and_a_flipped_bit_in_one_is_found(keeper: Keeper) -> None:
    keeper.log([("home", 1000 + n, 20.0 + n / 7) for n in range(9)], {"home": None}, [])
    keeper.log([("home", 1003, 20.0 + 3 / 7)], {"home": None}, [])
    assert len(keeper.journal.readings("home", 0, 9e9)[0]) == 9
    keeper.journal.close()
    path = keeper.journal.path
    with closing(sqlite3.connect(path)) as foreign:
        for statement in ("UPDATE reading SET celsius = 1", "DELETE FROM reading"):
            with pytest.raises(sqlite3.IntegrityError, match="the journal only grows"):
                foreign.execute(statement)
        foreign.execute("REPLACE INTO reading SELECT sensor, at, celsius, 0 FROM reading")
        foreign.commit()
    assert Journal(path).problems() == []
    with closing(sqlite3.connect(path)) as foreign:
        foreign.execute("DROP TRIGGER reading_kept_on_update")
        foreign.execute("UPDATE reading SET crc32 = crc32 + 1 WHERE at = 1004")
        foreign.commit()
    journal = Journal(path)
    assert "A reading is damaged: that of second 1004 does not add up to its checksum." in journal.problems()
    with pytest.raises(Unusable, match=r"A reading of .* is damaged"):
        journal.readings("home", 0, 9e9)


# -- older formats


SCHEMAS = Path(__file__).parent / "schemas"


def test_a_journal_of_every_format_that_ever_was_opens_with_the_same_state(tmp_path: Path, config: Path) -> None:
    kept = sorted(SCHEMAS.glob("version-*.db"))
    assert len(kept) == schema.VERSION
    for one in kept:
        path = Path(shutil.copy(one, tmp_path / one.name))
        journal = Journal(path)
        assert journal.problems() == []
        entries = [entry for some in journal.read_all() for entry in some]
        keeper = Keeper(journal, files.load(config), lambda: datetime(2026, 9, 8, 11, 40, tzinfo=UTC))
        a1, a2 = keeper.pupa("A1"), keeper.pupa("A2")
        assert len(entries) == 12
        assert (a1.place, a1.stage_seen, [m.entry.method for m in a1.relocations]) == ("Roof", "darkening", ["silk"])
        assert a1.emerged is not None
        assert (a1.emerged.happened, a1.flags) == (datetime(2026, 9, 7, 12, 0, tzinfo=UTC), [])
        assert (a2.species, a2.danger, a2.is_open) == ("painted-lady", "fallen", True)
        assert a2.formed_from == datetime(2026, 9, 4, 5, 0, tzinfo=UTC)
        assert keeper.state.looks["Roof"] == [datetime(2026, 9, 7, 12, 0, tzinfo=UTC)]
        assert journal.readings("home", 0, 9e9) == ([1000, 1300], [20.5, 21.0])
        journal.close()


def test_an_older_format_is_brought_up_to_date_after_a_copy_was_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(shutil.copy(SCHEMAS / "version-1.db", tmp_path / "journal.db"))
    before = [(e.id, e.act) for e in read(path)]

    def second(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE another (x)")

    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, second))
    monkeypatch.setattr(schema, "VERSION", 2)
    journal = Journal(path)
    assert journal.problems() == []
    assert [(e.id, e.act) for some in journal.read_all() for e in some] == before
    journal.close()
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (2,)
    copy = backup.folder_of(path) / "journal-format-1.db"
    assert backup.is_whole(copy)
    with closing(sqlite3.connect(copy)) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (1,)
        assert file.execute("SELECT count(*) FROM sqlite_master WHERE name = 'another'").fetchone() == (0,)


def test_an_older_format_that_cannot_be_copied_first_is_left_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(shutil.copy(SCHEMAS / "version-1.db", tmp_path / "journal.db"))
    before = path.read_bytes()
    backup.folder_of(path).write_text("in the way")
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, lambda connection: None))
    monkeypatch.setattr(schema, "VERSION", 2)
    with pytest.raises(Unusable, match="No copy of the journal could be written"):
        Journal(path)
    assert path.read_bytes() == before


# -- links, copies, and what other programs do


def test_a_link_leads_to_the_journal_itself_and_all_that_belongs_to_it(keeper: Keeper, tmp_path: Path) -> None:
    keeper.found("A1", "Roof")
    link = tmp_path / "link.db"
    link.symlink_to(keeper.journal.path)
    linked = Journal(link)
    assert linked.path == keeper.journal.path.resolve()
    linked.close()
    link.unlink()
    link.symlink_to(link)
    with pytest.raises(Unusable, match="is a link that leads nowhere"):
        Journal(link)


def test_a_journal_that_only_its_owner_writes_is_read_anew_when_he_did(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper.found("A1", "Roof")
    keeper.journal.close()
    path, no_lock = keeper.journal.path, os.access
    monkeypatch.setattr(os, "access", lambda *asked, **how: False)
    reader = Keeper(Journal(path), keeper.settings, keeper.clock)
    monkeypatch.setattr(os, "access", no_lock)
    owner = Keeper(Journal(path), keeper.settings, keeper.clock)
    owner.note("A1", "he wrote on")
    assert not reader.pupa("A1").notes
    assert reader.refresh()
    assert reader.pupa("A1").notes == ["he wrote on"]


def test_a_journal_on_a_full_disk_can_still_be_read(keeper: Keeper, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("found", "A1", "--place", "Roof")
    room = os.statvfs(keeper.journal.path.parent)
    full = os.statvfs_result((*room[:3], 0, 0, *room[5:]))
    monkeypatch.setattr(os, "statvfs", lambda path: full)
    assert "A1" in run("pupae").out
    answer = run("saw", "A1", "set")
    assert (answer.code, "or the disk is full. Nothing was written." in answer.err) == (3, True)


def test_the_newest_copy_is_that_with_the_newest_act_whatever_the_files_dates_say(keeper: Keeper) -> None:
    path = keeper.journal.path
    keeper.found("A1", "Roof")
    keeper.journal.copy_to(backup.folder_of(path) / "journal-old.db")
    keeper.saw("A1", "set")
    newer = keeper.journal.copy_to(backup.folder_of(path) / "journal-newer.db")
    os.utime(backup.folder_of(path) / "journal-old.db", (4e9, 4e9))
    (backup.folder_of(path) / "journal-gone.db").symlink_to("nowhere")
    assert next(backup.good_copies(path)) == newer


def test_a_look_by_a_wrong_clock_hides_no_later_look(keeper: Keeper, clock: Any) -> None:
    clock.on(days=30)
    keeper.looked(["Roof"])
    clock.on(days=-30)
    keeper.looked(["Roof"])
    opened_again = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert opened_again.state.last_look("Roof", clock()) == clock()


def test_what_another_program_did_to_the_places_is_not_written_over(keeper: Keeper, config: Path, clock: Any) -> None:
    other = Keeper(Journal(keeper.journal.path), files.load(config), clock, config)
    other.describe_place(Place(name="Line", surface="line"))
    keeper.walk_place("Jar", 0)
    keeper.describe_place(Place(name="Shelf", surface="wood"))
    assert [place.name for place in files.load(config).places] == ["Jar", "Roof", "Line", "Shelf"]


def test_what_was_taken_back_never_was_so_however_far_one_looks_back(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=2)
    run("lost", "A1", "predator", "--at", "yesterday 12:00")
    run("undo")
    assert "A1" in run("pupae", "--as-of", "yesterday 15:00").out
    assert "0 of 1" not in run("review", "--as-of", "yesterday 15:00").out
