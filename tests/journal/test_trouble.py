"""What a home does to a journal: its file goes while it is open, its clock jumps, two keepers move one pupa at once.

Nothing of this is published anywhere; it is what this program promises its keeper.
"""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
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
    other.write_text("another file", encoding="utf-8")
    other.replace(path)


def remove_the_folder(path: Path) -> None:
    path.parent.rename(path.parent.with_name("gone"))
    path.parent.mkdir()


@pytest.mark.posix("on Windows no file goes while it is open")
@pytest.mark.parametrize("do", [delete, move_away, replace, remove_the_folder])
def test_a_file_that_goes_while_it_is_open_is_told_at_once_and_nothing_is_lost(
    keeper: Keeper, do: Callable[[Path], None]
) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.saw("A1", "set")
    path = keeper.journal.path
    do(path)
    with (
        pytest.raises(Unusable, match=r"was (deleted|replaced).*Nothing was written.*is saved in"),
        keeper.journal.writing(date(2026, 9, 8)) as append,
    ):
        append([])
    saved = path.with_name("journal-rescued-1.db")
    assert [entry.about for entry in read(saved)] == [keeper.pupa("A1").id] * 2
    for look in (
        keeper.refresh,
        lambda: keeper.pupae.saw("A1", "darkening"),
    ):  # a dashboard that only looks is told too
        with pytest.raises(Unusable, match="while it was open"):
            look()
    assert not path.with_name("journal-rescued-2.db").exists()
    keeper.journal.close()
    backup.restore(saved, path, "now")
    assert len(read(path)) == 2


def test_a_log_that_is_left_without_its_journal_is_not_passed_over(
    run: Run, keeper: Keeper, as_killed: Callable[[Path], Path]
) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    log = as_killed(path).with_name("journal.db-wal")
    keeper.journal.close()
    path.unlink()
    log.rename(path.with_name("journal.db-wal"))
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
        assert "but there are backups of it in" in answer.err
    assert run("restore").code == 0
    assert run("history", "A1").code == 0


@pytest.mark.posix("on Windows no folder goes in which a file is open")
def test_a_folder_that_is_gone_whole_is_told(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    shutil.rmtree(keeper.journal.path.parent)
    with pytest.raises(Unusable, match="was deleted, moved away or cut off while it was open here"):
        keeper.pupae.saw("A1", "set")


# -- the clock


@pytest.mark.parametrize("then", [datetime(1970, 1, 1, 0, 10, tzinfo=UTC), datetime(2026, 9, 7, 11, 40, tzinfo=UTC)])
def test_a_clock_that_was_put_back_is_told_and_nothing_is_lost_or_doubled(
    keeper: Keeper, clock: Any, then: datetime
) -> None:
    keeper.pupae.found("A1", "Roof")
    right, clock.now = clock.now, then
    done = keeper.places.looked(["Jar"])
    assert done.warnings[0].startswith(f"The clock shows {then - timedelta(hours=5 + (then.year == 1970)):%Y-%m-%d}")
    assert keeper.undo().words == "Undone: Jar visited."
    clock.now = right + timedelta(hours=1)
    assert keeper.places.looked(["Jar"]).warnings == []
    assert len(read(keeper.journal.path)) == 4
    again = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert (again.state.looks["Jar"], list(again.state.pupae)) == ([clock.now], [keeper.pupa("A1").id])


def test_a_clock_that_was_put_back_opens_no_way_around_the_rule(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Jar")
    clock.now = datetime(1970, 1, 1, 12, tzinfo=UTC)
    assert run("move", "A1", "Roof").code == 1
    assert run("today").code == 0


def test_a_clock_that_was_wrong_once_is_not_told_of_for_ever(keeper: Keeper, clock: Any) -> None:
    right, clock.now = clock.now, clock.now + timedelta(days=365)
    keeper.pupae.found("A1", "Roof")
    clock.now = right
    assert (
        keeper.pupae.saw("A1", "set")
        .warnings[0]
        .startswith("The clock shows 2026-09-08 06:40, but an entry about A1 was")
    )
    keeper.undo()
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."
    assert keeper.pupae.found("A2", "Roof").warnings == []


def test_nor_when_what_it_dated_is_gone(keeper: Keeper, clock: Any) -> None:
    right, clock.now = clock.now, clock.now + timedelta(days=365)
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.lost("A1", "unknown")
    clock.now = right
    assert keeper.pupae.found("A2", "Roof").warnings == []


def test_a_pupa_found_after_a_clock_was_ahead_is_free_when_its_time_is_over(keeper: Keeper, clock: Any) -> None:
    right, clock.now = clock.now, clock.now + timedelta(days=365)
    keeper.places.looked(["Jar"])
    clock.now = right
    keeper.pupae.found("A1", "Jar")
    clock.on(hours=50)
    assert keeper.moves.move("A1", "Roof").words == "A1 moved from Jar to Roof."


def test_a_pupa_found_by_a_clock_that_was_behind_is_freed_only_by_what_a_right_clock_dates(
    run: Run, keeper: Keeper, clock: Any
) -> None:
    keeper.pupae.found("B1", "Roof")
    right, clock.now = clock.now, clock.now - timedelta(days=3)
    assert (
        keeper.pupae.found("A1", "Jar")
        .warnings[0]
        .startswith("The clock shows 2026-09-05 06:40, but an entry about B1 ")
    )
    clock.now = right + timedelta(minutes=1)
    for at in ([], ["--at", "2026-09-07T12:00"], ["--at", "2026-09-08T06:40"]):
        refused = run("move", "A1", "Roof", *at)
        assert refused.code == 1
        assert "the clock was slow when it was found; record its stage now" in refused.err
    assert "the clock was slow when it was found; its hang time counts" in run("history", "A1").out
    assert run("move", "A1", "Roof", "--emergency", "fallen").code == 0
    assert run("undo").code == 0
    assert run("saw", "A1", "soft").code == 0
    clock.on(hours=23)
    assert "It may be moved from 06:41" in run("move", "A1", "Roof").err
    clock.on(hours=1)
    assert run("move", "A1", "Roof").code == 0


# -- two at once


def test_two_keepers_who_move_one_pupa_end_in_one_state_and_the_second_is_told(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Jar")
    clock.on(days=3)
    other = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert keeper.moves.move("A1", "Roof").words == "A1 moved from Jar to Roof."
    with pytest.raises(NotUnderstood, match="A1 already hangs in Roof"):
        other.moves.move("A1", "Roof")
    assert other.moves.move("A1", "Line").words == "A1 moved from Roof to Line."
    keeper.refresh()
    assert keeper.state.pupae == other.state.pupae
    assert [move.origin for move in keeper.pupa("A1").relocations] == ["Jar", "Roof"]


# -- what check says beside damage


def test_check_tells_who_else_may_read_and_which_copies_are_bad(run: Run, journal_path: Path, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=1)
    run("looked")
    good = backup.folder_of(journal_path) / "journal-2026-09-09.db"
    good.with_name("journal-2026-09-01.db").write_text("torn", encoding="utf-8")
    journal_path.chmod(0o644)
    answer = run("check")
    assert answer.code == 0
    assert f"1 good backup, the newest is {good}." in answer.out
    assert "Damaged backups, to be deleted: journal-2026-09-01.db." in answer.out
    told = f"Others on this computer can read {journal_path}; `chmod 600 {journal_path}` makes it yours alone."
    assert told in answer.out


def test_check_looks_at_the_settings_too(run: Run, config: Path) -> None:
    run("found", "A1", "--place", "Roof")
    (config / "care.toml").write_text("[wings", encoding="utf-8")
    answer = run("check")
    assert (answer.code, "all undamaged" in answer.out, "care.toml:1" in answer.err) == (3, True, True)


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
    keeper.temperatures.log([("home", 1000 + n, 20.0 + n / 7) for n in range(9)], {"home": None}, [])
    keeper.temperatures.log([("home", 1003, 20.0 + 3 / 7)], {"home": None}, [])
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
    assert "A reading is damaged: that of second 1004 does not match its checksum." in journal.problems()
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

    def another(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE another (x)")

    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, another))
    monkeypatch.setattr(schema, "VERSION", 3)
    journal = Journal(path)
    assert journal.problems() == []
    with journal.writing(date(2026, 9, 8)):
        pass
    assert journal.problems() == []
    assert [(e.id, e.act) for some in journal.read_all() for e in some] == before
    journal.close()
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (3,)
    copy = backup.folder_of(path) / "journal-format-1.db"
    assert backup.is_whole(copy)
    with closing(sqlite3.connect(copy)) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (1,)
        assert file.execute("SELECT count(*) FROM sqlite_master WHERE name = 'another'").fetchone() == (0,)


def test_an_older_format_that_cannot_be_copied_first_is_left_as_it_is(older: Path) -> None:
    before = older.read_bytes()
    backup.folder_of(older).write_text("in the way", encoding="utf-8")
    journal = Journal(older)
    with pytest.raises(Unusable, match="No backup of the journal could be written"), journal.writing(date(2026, 9, 8)):
        pass
    journal.close()
    assert older.read_bytes() == before


@pytest.fixture
def older(journal_path: Path) -> Path:
    """A journal of the first format, in the place of this keeper's own."""
    shutil.copy(SCHEMAS / "version-1.db", journal_path)
    with closing(sqlite3.connect(journal_path)) as file:
        file.execute("PRAGMA journal_mode = WAL")  # as every act but the making of the file leaves it
    return journal_path


def test_reading_an_older_format_changes_nothing_in_it(older: Path, run: Run) -> None:
    before = older.read_bytes()
    for command in (["pupae", "--all"], ["today"], ["check"], ["history", "A1"]):
        assert run(*command).code == 0
    assert older.read_bytes() == before
    assert sorted(other.name for other in older.parent.iterdir()) == ["journal.db"]


def test_the_first_act_brings_an_older_format_up_to_date_and_a_refused_one_does_not(older: Path, run: Run) -> None:
    def version() -> int:
        with closing(sqlite3.connect(older)) as file:
            return int(file.execute("PRAGMA user_version").fetchone()[0])

    assert run("emerged", "nobody").code == 2
    assert version() == 1
    assert run("looked", "Roof").code == 0
    assert version() == schema.VERSION == 2
    assert older.read_bytes()[60:64] == b"\0\0\0\2"  # where a program of the first format looks
    copy = backup.folder_of(older) / "journal-format-1.db"
    with closing(sqlite3.connect(copy)) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (1,)
    assert run("check").code == 0


# -- where it lies


def test_a_link_to_what_is_not_there_is_told_by_every_command_and_nothing_is_begun(run: Run, tmp_path: Path) -> None:
    (tmp_path / "stick.db").symlink_to(tmp_path / "stick" / "journal.db")
    (tmp_path / "folder").symlink_to(tmp_path / "stick")
    for path in (tmp_path / "stick.db", tmp_path / "folder" / "journal.db"):
        for command in (["pupae"], ["found", "A1", "--place", "Roof"], ["check"], ["restore"]):
            answer = run("--journal", path, *command)
            assert (answer.code, answer.out) == (3, "")
            assert f"is a link to {tmp_path / 'stick'}" in answer.err
            assert "which is not there" in answer.err
    assert not (tmp_path / "stick").exists()


def test_no_folder_is_made_for_a_mistyped_path(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "jurnals" / "journal.db"
    answer = run("--journal", path, "found", "A1", "--place", "Roof")
    assert answer.code == 3
    assert f"there is no folder {path.parent}. Make it first" in answer.err
    assert run("backup", path).code == 2
    run("found", "A1", "--place", "Roof")
    answer = run("backup", path)
    assert (answer.code, f"There is no folder {path.parent}" in answer.err) == (2, True)
    assert run("--journal", path, "restore", tmp_path / "data" / "journal.db").code == 3
    assert not path.parent.exists()


def test_the_platforms_own_folder_is_made(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "pupawatch.journal.address.default_path", lambda: tmp_path / "share" / "pupawatch" / "journal.db"
    )
    own = tmp_path / "share" / "pupawatch" / "journal.db"
    assert run("--journal", own, "found", "A1", "--place", "Roof").code == 0
    assert own.parent.stat().st_mode & 0o777 == 0o700


@pytest.mark.posix("pipes on Windows have no name in a folder")
def test_a_pipe_in_place_of_the_journal_is_refused_at_once(tmp_path: Path, run: Run) -> None:
    os.mkfifo(tmp_path / "pipe.db")
    for command in (["pupae"], ["check"], ["found", "A1", "--place", "Roof"]):
        answer = run("--journal", tmp_path / "pipe.db", *command)
        assert (answer.code, "It is a device or a pipe" in answer.err) == (3, True)
    assert run("merge", tmp_path / "pipe.db").code == 3


# -- what a kill leaves


@pytest.mark.parametrize("call", ["COMMIT", "PRAGMA user_version = 2"])
def test_a_kill_while_the_journal_is_made_leaves_none(run: Run, journal_path: Path, call: str) -> None:
    code = (
        "import os, pathlib, sqlite3, sys\n"
        "from pupawatch.journal import address, file\n"
        "class Killed(address.Connection):\n"
        "    def execute(self, statement, *given):\n"
        "        if statement == sys.argv[2]: os._exit(9)\n"
        "        return super().execute(statement, *given)\n"
        "address.Connection = Killed\n"
        "with file.Journal(pathlib.Path(sys.argv[1])).writing(None): pass\n"
    )
    assert subprocess.run([sys.executable, "-c", code, journal_path, call], check=False).returncode == 9
    assert (run("pupae").code, run("check").code) == (0, 0)
    assert run("found", "A1", "--place", "Roof").code == 0
    assert run("check").code == 0


def test_what_sqlite_takes_back_of_a_beginning_was_never_there(run: Run, journal_path: Path, tmp_path: Path) -> None:
    """As a kill leaves it between the first page on disk and the end of the rollback journal."""
    with closing(sqlite3.connect(journal_path, isolation_level=None)) as file:
        file.execute("PRAGMA cache_size = 1")  # so that pages are written out before the end
        file.execute("BEGIN IMMEDIATE")
        schema.migrate(file)
        file.execute("CREATE TABLE more (x)")
        file.executemany("INSERT INTO more VALUES (?)", [("x" * 3000,)] * 50)
        for part in (journal_path, journal_path.with_name("journal.db-journal")):
            subprocess.run(["cp", part, tmp_path], check=True)
    path = tmp_path / "journal.db"
    assert path.stat().st_size > 4096
    assert path.with_name("journal.db-journal").stat().st_size > 512
    if path.read_bytes()[60:64] != b"\0\0\0\2":  # the first page is written out last: have it there too
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
            schema.migrate(made)
            first = made.serialize()[:4096]
        path.write_bytes(first + path.read_bytes()[4096:])
    assert run("--journal", path, "pupae").code == 0
    assert run("--journal", path, "found", "A1", "--place", "Roof").code == 0
    assert run("--journal", path, "check").code == 0


def test_what_kills_left_lying_about_is_swept_and_nothing_else(
    run: Run, journal_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    copies = backup.folder_of(journal_path)
    copies.mkdir()
    swept = [
        journal_path.with_name(f"journal.db.{dead.pid}.restored"),
        journal_path.with_name(f"journal.db.{dead.pid}.restored-wal"),
        copies / f"journal-2026-09-07.db.{dead.pid}.new",
        tmp_path / f"pupawatch-{dead.pid}-abcd_123",
        tmp_path / "pupawatch-demo-abcd_123",
    ]
    kept = [
        journal_path.with_name(f"journal.db.{os.getpid()}.restored"),
        journal_path.with_name(f"notes.{dead.pid}.new"),
        journal_path.with_name("journal.db.new"),
        tmp_path / f"pupawatch-{os.getpid()}-abcd_123",
        tmp_path / "pupawatch-abcd_123",
        tmp_path / f"pupawatch-{dead.pid}-notes-of-mine",
    ]
    for path in (*swept, *kept):
        if path.parent == tmp_path:
            path.mkdir()
            (path / "other.db").touch()
        else:
            path.touch()
    os.utime(tmp_path / "pupawatch-demo-abcd_123", (0, 0))
    assert run("pupae").code == 0
    assert all(path.exists() for path in (*swept, *kept))  # to look is not to write
    assert run("found", "A1", "--place", "Roof").code == 0
    assert [path.name for path in swept if path.exists()] == []
    assert [path.name for path in kept if not path.exists()] == []


@pytest.mark.posix("on Windows a restore gives no second names, and none can be taken from what is open")
def test_a_second_name_that_a_killed_restore_gave_the_journal_is_taken_from_it(run: Run, journal_path: Path) -> None:
    run("found", "A1", "--place", "Roof")
    os.link(journal_path, journal_path.with_name("journal-replaced-now.db"))
    shutil.copy(journal_path, journal_path.with_name("journal-replaced-before.db"))
    assert run("found", "A2", "--place", "Roof").code == 0
    assert journal_path.stat().st_nlink == 1
    assert [path.name for path in journal_path.parent.glob("*-replaced-*")] == ["journal-replaced-before.db"]


# -- permissions, and a disk that fails


def as_somebody_else(code: str, path: Path) -> str:
    """What a child says that is not root, who may write everything."""
    begin = "import os, pathlib, sys\nif os.geteuid() == 0: os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
    imports = (
        "from pupawatch.errors import Unusable\nfrom pupawatch.journal import file, log, merge, salvage, tiers\n"
        "from pupawatch.journal.file import Journal\nimport encodings.idna, uuid\n"
    )
    there = f"path = pathlib.Path({str(path)!r})\n"
    done = subprocess.run([sys.executable, "-c", imports + begin + there + code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def his(tmp_path: Path) -> Iterator[Path]:
    """The path of a journal in a folder that everybody may write in."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o777)
        yield Path(name) / "journal.db"


WRITE = "journal = Journal(path)\nwith journal.writing(None): pass\njournal.close()\n"


@pytest.mark.posix("a mode says on Windows whether a file is read-only, and nothing of others")
def test_a_journal_made_read_only_gets_nothing_read_only_beside_it(his: Path) -> None:
    as_somebody_else(WRITE, his)
    his.chmod(0o400)
    assert as_somebody_else("journal = Journal(path); print(journal.last(), *os.listdir(path.parent))\n", his) == (
        "0 journal.db\n"
    )
    his.chmod(0o600)
    assert as_somebody_else(WRITE, his) == ""


@pytest.mark.posix("a mode says on Windows whether a file is read-only, and nothing of others")
def test_a_folder_that_takes_no_file_is_read_from_where_the_system_does_not_say_so(his: Path) -> None:
    """On Windows os.access speaks of a file's read-only mark alone, and there is no statvfs (docs.python.org/3, os)."""
    as_somebody_else(WRITE, his)
    his.chmod(0o644)
    his.parent.chmod(0o755)
    blind = "import os\nos.access = lambda *asked, **more: True\ndel os.statvfs\n"
    assert as_somebody_else(f"{blind}print(Journal(path).last(), *os.listdir(path.parent))\n", his) == "0 journal.db\n"
    counted = "tries, opened = [], os.open\nos.open = lambda *named: (tries.append(named), opened(*named))[1]\n"
    asked = "from pupawatch.journal import address\nprint(address.is_shelved(path), len(tries))\n"
    assert as_somebody_else(blind + counted + asked, his) == "True 1\n"
    his.parent.chmod(0o777)
    his.chmod(0o666)
    assert as_somebody_else(blind + counted + asked, his) == "False 1\n"
    assert os.listdir(his.parent) == ["journal.db"]


@pytest.mark.posix("a mode says on Windows whether a file is read-only, and nothing of others")
def test_what_is_read_only_beside_a_journal_is_named_with_what_mends_it(his: Path) -> None:
    index = his.with_name("journal.db-shm")
    left = f"index = pathlib.Path({str(index)!r})\nindex.write_bytes(bytes(32768))\nindex.chmod(0o400)\n"
    as_somebody_else(WRITE + left, his)
    told = as_somebody_else(
        "try:\n    with Journal(path).writing(None): pass\nexcept Unusable as error: print(error)\n", his
    )
    assert f"`chmod u+w {index}` repairs that" in told
    index.chmod(0o600)
    assert as_somebody_else(WRITE, his) == ""


def test_a_disk_that_fails_at_the_very_end_leaves_it_uncertain_and_that_is_said(journal_path: Path) -> None:
    """In the child the log is exchanged for /dev/null, which takes what is written and fails to bring it to disk."""
    code = (
        "import os, pathlib, sys\n"
        "from pupawatch.errors import Unusable\n"
        "from pupawatch.journal import log\n"
        "from pupawatch.journal.file import Journal\n"
        "journal = Journal(pathlib.Path(sys.argv[1]))\n"
        "with journal.writing(None): journal.append_rows([('1', *'actks', '')][:0])\n"
        "def is_log(handle):\n"
        "    try: return os.path.samestat(os.fstat(handle), log.of(journal.path).stat())\n"
        "    except OSError: return False\n"
        "(handle,) = filter(is_log, range(64))\n"
        "os.dup2(os.open(os.devnull, os.O_RDWR), handle)\n"
        "try:\n"
        "    with journal.writing(None): journal.append_rows([tuple('iakshb')])\n"
        "except Unusable as error: print(error, flush=True)\n"
        "os._exit(0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, journal_path], capture_output=True, text=True, check=True)
    assert "This entry may or may not be saved; check before you enter it again." in done.stdout
    assert "Nothing was written" not in done.stdout


# -- links, copies, and what other programs do


def test_a_link_leads_to_the_journal_itself_and_all_that_belongs_to_it(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
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
    keeper.pupae.found("A1", "Roof")
    keeper.journal.close()
    path, no_lock = keeper.journal.path, os.access
    monkeypatch.setattr(os, "access", lambda *asked, **how: False)
    reader = Keeper(Journal(path), keeper.settings, keeper.clock)
    monkeypatch.setattr(os, "access", no_lock)
    owner = Keeper(Journal(path), keeper.settings, keeper.clock)
    owner.pupae.note("A1", "he wrote on")
    assert not reader.pupa("A1").notes
    assert reader.refresh()
    assert reader.pupa("A1").notes == ["he wrote on"]


@pytest.mark.posix("Windows has no statvfs; there the folder is tried")
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
    keeper.pupae.found("A1", "Roof")
    keeper.journal.copy_to(backup.folder_of(path) / "journal-old.db")
    keeper.pupae.saw("A1", "set")
    newer = keeper.journal.copy_to(backup.folder_of(path) / "journal-newer.db")
    os.utime(backup.folder_of(path) / "journal-old.db", (4e9, 4e9))
    (backup.folder_of(path) / "journal-gone.db").symlink_to("nowhere")
    assert next(backup.good_copies(path)) == newer


def test_a_look_by_a_wrong_clock_hides_no_later_look(keeper: Keeper, clock: Any) -> None:
    clock.on(days=30)
    keeper.places.looked(["Roof"])
    clock.on(days=-30)
    keeper.places.looked(["Roof"])
    opened_again = Keeper(Journal(keeper.journal.path), keeper.settings, clock)
    assert opened_again.state.last_look("Roof", clock()) == clock()


def test_what_another_program_did_to_the_places_is_not_written_over(keeper: Keeper, config: Path, clock: Any) -> None:
    other = Keeper(Journal(keeper.journal.path), files.load(config), clock, config)
    other.places.describe(Place(name="Line", surface="line"))
    keeper.places.walk("Jar", 0)
    keeper.places.describe(Place(name="Shelf", surface="wood"))
    assert [place.name for place in files.load(config).places] == ["Jar", "Roof", "Line", "Shelf"]


def test_what_was_taken_back_never_was_so_however_far_one_looks_back(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=2)
    run("lost", "A1", "predator", "--at", "yesterday 12:00")
    run("undo")
    assert "A1" in run("pupae", "--as-of", "yesterday 15:00").out
    assert "0 of 1" not in run("review", "--as-of", "yesterday 15:00").out
