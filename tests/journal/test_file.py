"""The journal file, looked at with another program's eyes: plain sqlite3 connections and bytes on disk.

What SQLite promises of STRICT tables, write-ahead logs and its header is taken from its documentation
(sqlite.org: stricttables, wal, fileformat2); the rest is what this program promises its keeper.
"""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pupawatch.errors import Unusable
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id
from pupawatch.model.state import State

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def kept(keeper: Keeper) -> Path:
    """A closed journal with one pupa in it."""
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.note("A1", "an unmistakable remark")
    keeper.journal.close()
    return keeper.journal.path


def lying_beside(path: Path) -> list[str]:
    return sorted(other.name for other in path.parent.iterdir() if other.is_file())


def read(journal: Journal) -> list[Entry]:
    return [entry for some in journal.read_all() for entry in some]


# -- it only grows


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}'",
        "UPDATE OR REPLACE entry SET id = 'x' WHERE seq = 1",
        "DELETE FROM entry",
        "DELETE FROM entry WHERE seq = 2",
        "INSERT OR REPLACE INTO entry SELECT seq, id, act, kind, about, happened, '{}', 0 FROM entry WHERE seq = 1",
        "REPLACE INTO entry SELECT 99, id, act, kind, about, happened, '{}', 0 FROM entry WHERE seq = 1",
        "REPLACE INTO entry SELECT 1, 'another', act, kind, about, happened, '{}', 0 FROM entry WHERE seq = 1",
        "INSERT INTO entry SELECT 99, id, act, kind, about, happened, '{}', 0 FROM entry WHERE seq = 1"
        " ON CONFLICT (id) DO UPDATE SET body = excluded.body",
    ],
)
def test_a_foreign_connection_cannot_change_what_is_written(kept: Path, statement: str) -> None:
    with closing(sqlite3.connect(kept)) as foreign:
        before = foreign.execute("SELECT * FROM entry").fetchall()
        assert len(before) == 2
        with pytest.raises(sqlite3.IntegrityError, match="the journal only grows"):
            foreign.execute(statement)
        assert foreign.execute("SELECT * FROM entry").fetchall() == before


def test_a_column_takes_only_its_own_type(kept: Path) -> None:
    with closing(sqlite3.connect(kept)) as foreign, pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT"):
        foreign.execute("INSERT INTO entry VALUES (99, 'x', 'x', 'note', 'x', 'x', '{}', 'no number')")


def test_the_file_is_a_write_ahead_journal_that_names_itself(kept: Path) -> None:
    with closing(sqlite3.connect(kept)) as foreign:
        assert foreign.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert foreign.execute("PRAGMA application_id").fetchone() == (0x50555057,)
        assert foreign.execute("PRAGMA user_version").fetchone() == (2,)
    assert kept.read_bytes()[68:72] == b"PUPW"


def test_an_entry_is_on_disk_before_it_is_acknowledged(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    connection = keeper.journal._connection
    assert connection is not None
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    with closing(sqlite3.connect(keeper.journal.path)) as foreign:
        assert foreign.execute("SELECT count(*) FROM entry").fetchone() == (1,)


def test_only_its_keeper_may_read_it(journal_path: Path) -> None:
    mask = os.umask(0)
    try:
        journal = Journal(journal_path)
        for day in (8, 9):
            with journal.writing(date(2026, 9, day)) as append:
                append([looked("Roof", NOW + timedelta(days=day))])
        files = [path for path in journal_path.parent.rglob("*") if path.is_file()]
        journal.close()
    finally:
        os.umask(mask)
    assert {path.suffix for path in files} >= {".db", ".db-wal"}
    assert {stat.S_IMODE(path.stat().st_mode) for path in files if path.exists()} == {0o600}
    assert stat.S_IMODE(journal_path.parent.stat().st_mode) == 0o700


def test_what_is_read_inside_a_block_is_true_until_it_is_left(keeper: Keeper) -> None:
    keeper.places.looked(["Roof"])
    with keeper.journal.writing(date(2026, 9, 8)), closing(sqlite3.connect(keeper.journal.path, timeout=0)) as foreign:
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            foreign.execute("BEGIN IMMEDIATE")
        assert foreign.execute("SELECT count(*) FROM entry").fetchone() == (1,)


def test_a_block_that_fails_writes_nothing(keeper: Keeper) -> None:
    keeper.places.looked(["Roof"])
    twice = looked("Jar", NOW)
    with pytest.raises(Unusable, match="already in it"), keeper.journal.writing(date(2026, 9, 8)) as append:
        append([twice, twice])
    assert [entry.about for entry in read(keeper.journal)] == ["Roof"]
    keeper.places.looked(["Jar"])
    assert [entry.about for entry in read(keeper.journal)] == ["Roof", "Jar"]


# -- files it cannot use


def newer(path: Path) -> None:
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE entry (seq)")
        file.execute("PRAGMA application_id = 0x50555057")
        file.execute("PRAGMA user_version = 3")


def foreign(path: Path) -> None:
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA journal_mode = WAL")
        file.execute("CREATE TABLE entry (id, body)")


def words(path: Path) -> None:
    path.write_text("Dear diary, today two of them turned dark. " * 9, encoding="utf-8")


def short(path: Path) -> None:
    path.write_bytes(b"SQLite format 3\0")


@pytest.mark.parametrize(
    ("make", "told"),
    [(newer, "newer pupawatch"), (foreign, "another program"), (words, "not a pupawatch"), (short, "not a pupawatch")],
)
def test_a_file_it_does_not_know_is_refused_and_left_untouched(tmp_path: Path, make: object, told: str) -> None:
    path = tmp_path / "journal.db"
    make(path)  # type: ignore[operator]
    before = path.read_bytes()
    with pytest.raises(Unusable, match=told):
        Journal(path)
    assert path.read_bytes() == before
    assert lying_beside(path) == ["journal.db"]


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_a_truncated_journal_is_reported_and_left_untouched(kept: Path, share: float) -> None:
    before = kept.read_bytes()[: int(kept.stat().st_size * share)]
    kept.write_bytes(before)
    beside = lying_beside(kept)
    journal = Journal(kept)
    assert journal.problems()
    with pytest.raises(Unusable, match="pupawatch check"):
        read(journal)
    journal.close()
    assert kept.read_bytes() == before
    assert lying_beside(kept) == beside


def test_a_folder_in_place_of_the_journal_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="Is a directory"):
        Journal(tmp_path)


def test_an_empty_file_becomes_a_journal_with_the_first_entry(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    path.touch()
    journal = Journal(path)
    assert (read(journal), path.stat().st_size) == ([], 0)
    with journal.writing(date(2026, 9, 8)) as append:
        append([looked("Roof", NOW)])
    assert len(read(journal)) == 1


def test_looking_at_a_journal_that_is_not_there_makes_none(journal_path: Path) -> None:
    journal = Journal(journal_path)
    assert (read(journal), journal.last(), journal.problems(), journal.changes()) == ([], 0, [], 0)
    assert list(journal_path.parent.iterdir()) == []


def test_a_kill_while_the_file_is_being_made_leaves_an_empty_one(journal_path: Path) -> None:
    code = (
        "import os, pathlib\n"
        "from pupawatch.journal import file, schema\n"
        "make = schema.STEPS[0]\n"
        "schema.STEPS = (lambda connection: (make(connection), os._exit(9)),)\n"
        f"with file.Journal(pathlib.Path({str(journal_path)!r})).writing(None): pass\n"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 9
    journal = Journal(journal_path)
    with journal.writing(date(2026, 9, 8)) as append:
        append([looked("Roof", NOW)])
    assert len(read(journal)) == 1


# -- damage


def flip(path: Path) -> None:
    data = path.read_bytes()
    assert data.count(b"unmistakable") == 1
    path.write_bytes(data.replace(b"unmistakable", b"unmistakaBle"))


def test_a_flipped_bit_in_an_entry_is_found_by_reading_and_by_checking(kept: Path) -> None:
    flip(kept)
    journal = Journal(kept)
    with pytest.raises(Unusable, match=r"Entry 2 of .* is damaged; run `pupawatch check`"):
        read(journal)
    assert journal.problems() == ["Entry 2 is damaged: it does not match its checksum."]
    with closing(sqlite3.connect(kept)) as foreign:  # SQLite's own check cannot see it
        assert foreign.execute("PRAGMA integrity_check").fetchone() == ("ok",)


# -- what a round reads is what there is


def looked(place: str, at: datetime) -> kinds.Looked:
    return kinds.Looked(id=str(uuid4()), act=str(uuid4()), happened=at, recorded=at, zone="UTC", place=place)


DAYS = st.integers(0, 90)
PUPAE = st.integers(0, 3)
ACTS = st.one_of(
    st.tuples(st.just("found"), DAYS, PUPAE),
    st.tuples(st.just("hanging"), DAYS, PUPAE),
    st.tuples(st.sampled_from(("seen", "moved", "emerged", "lost", "released", "died")), DAYS, PUPAE),
    st.tuples(st.just("looked"), DAYS, PUPAE),
    st.tuples(st.just("retraction"), DAYS, st.integers(0, 40)),
    st.tuples(st.just("round"), DAYS, PUPAE),
)


def history(acts: Iterable[tuple[str, int, int]]) -> list[Entry]:
    """A random history: acts of one entry (a round of two looks), and retractions of any earlier act, also of one."""
    made: list[Entry] = []
    done: list[str] = []
    for number, (kind, days, which) in enumerate(acts):
        act = entry_id(NOW + timedelta(seconds=number), bytes(8))
        at = NOW - timedelta(days=days)
        common: dict[str, Any] = {"id": act, "act": act, "happened": at, "recorded": NOW, "zone": "UTC"}
        about = {**common, "pupa": f"pupa {which}"}
        named = {**about, "label": f"A{which % 3}", "species": "monarch", "place": f"place {which}"}
        match kind:
            case "found":
                made.append(kinds.Found(**named))
            case "hanging":
                made.append(kinds.Hanging(**named))
            case "seen":
                made.append(kinds.Seen(**about, stage="darkening"))
            case "moved":
                made.append(kinds.Moved(**about, to="place 3"))
            case "emerged":
                made.append(kinds.Emerged(**about))
            case "lost":
                made.append(kinds.Lost(**about, cause="unknown"))
            case "died":
                made.append(kinds.AdultSeen(**about, what="died"))
            case "released":
                made.append(kinds.Released(**about))
            case "looked":
                made.append(kinds.Looked(**common, place=f"place {which}"))
            case "round":
                made.append(kinds.Looked(**common, place="place 0"))
                again = {**common, "id": entry_id(NOW + timedelta(seconds=number), b"\1" * 8)}
                made.append(kinds.Looked(**again, place="place 1"))
            case _ if done:
                made.append(kinds.Retraction(**{**common, "happened": NOW}, target=done[which % len(done)]))
        done.append(act)
    return made


@settings(max_examples=60, deadline=None)
@given(acts=st.lists(ACTS, max_size=40), by_days=st.integers(0, 60))
def test_what_a_round_reads_says_the_same_as_the_whole_journal(acts: list[tuple[str, int, int]], by_days: int) -> None:
    beginning = [("found", 80, which) for which in range(4)]  # no entry comes before its pupa is found
    entries = history([*beginning, *acts])
    by = NOW - timedelta(days=by_days)
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal.db")
        with journal.writing(date(2026, 9, 8)) as append:
            append(entries)
        whole, current = State(read(journal)), State()
        for some in journal.read_current(NOW - timedelta(days=30), by=by):
            current.add(some)
        journal.close()
    assert current.open_pupae() == whole.open_pupae()
    places = [f"place {number}" for number in range(4)]
    assert [current.last_look(place, by) for place in places] == [whole.last_look(place, by) for place in places]


@settings(max_examples=60, deadline=None)
@given(acts=st.lists(ACTS, max_size=40))
def test_who_holds_a_label_and_which_butterflies_are_left_is_read_as_from_the_whole_journal(
    acts: list[tuple[str, int, int]],
) -> None:
    entries = history([*(("found", 80, which) for which in range(4)), *acts])
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal.db")
        with journal.writing(date(2026, 9, 8)) as append:
            append(entries)
        whole, names, current, older = State(read(journal)), State(), State(), State()
        month = NOW - timedelta(days=30)
        asked = ((names, journal.read_names()), (current, journal.read_current(month)))
        for state, batches in (*asked, (older, journal.read_unreleased(month))):
            for some in batches:
                state.add(some)
        journal.close()
    held = {pupa.id: pupa.label for pupa in whole.pupae.values() if pupa.holds_label and pupa.label}
    assert {pupa.id: pupa.label for pupa in names.pupae.values() if pupa.holds_label} == held
    adults = {pupa.id for pupa in whole.pupae.values() if pupa.is_adult}
    assert {pupa.id for pupa in (*current.pupae.values(), *older.pupae.values()) if pupa.is_adult} == adults
    assert all(older.pupae[identity] == whole.pupae[identity] for identity in older.pupae)


# -- two at once, and what stands in the way


def test_two_programs_that_write_at_once_lose_nothing(journal_path: Path) -> None:
    code = (
        "import pathlib, sys\n"
        "from pupawatch import settings\n"
        "from pupawatch.journal.file import Journal\n"
        "from pupawatch.keeper import Keeper\n"
        f"keeper = Keeper(Journal(pathlib.Path({str(journal_path)!r})), settings.load(pathlib.Path('nowhere')))\n"
        "print('ready', flush=True)\n"
        "sys.stdin.readline()\n"
        "for number in range(100): keeper.places.looked([f'{sys.argv[1]} {number}'])\n"
    )
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", code, name],
            cwd=ROOT,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for name in ("One", "Two")
    ]
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()
    assert [writer.communicate()[1] for writer in writers] == ["", ""]
    written = [entry.about for entry in read(Journal(journal_path))]
    assert sorted(written) == sorted(f"{name} {number}" for name in ("One", "Two") for number in range(100))


def test_what_another_program_writes_is_taken_in(keeper: Keeper, journal_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    other = Keeper(Journal(journal_path), keeper.settings, keeper.clock)
    assert not keeper.refresh()
    other.pupae.saw("A1", "darkening")
    assert keeper.refresh()
    assert keeper.pupa("A1").stage_seen == "darkening"


def test_a_folder_that_cannot_be_made_gives_one_sentence() -> None:
    journal = Journal(Path("/proc/no-such-folder/journal.db"))
    sentence = r"^The journal /proc/.* cannot be used: .*\. Nothing was written\.$"
    with pytest.raises(Unusable, match=sentence), journal.writing(date(2026, 9, 8)):
        pass


@pytest.mark.posix("a mode says on Windows whether a file is read-only, and nothing of others")
def test_a_journal_in_a_read_only_folder_can_be_read_but_writing_gives_one_sentence(kept: Path) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        path = shutil.copy(kept, folder / "journal.db")
        folder.chmod(0o555)
        Path(path).chmod(0o444)
        before = Path(path).read_bytes()
        code = (
            "import os, pathlib\n"
            "from pupawatch.errors import Unusable\n"
            "from pupawatch.journal.file import Journal\n"
            "if os.geteuid() == 0: os.seteuid(65534)\n"
            "try:\n"
            f"    journal = Journal(pathlib.Path({str(path)!r}))\n"
            "    print(sum(len(entries) for entries in journal.read_all()))\n"
            "    with journal.writing(None): journal.append_rows([tuple('abcdef')])\n"
            "except Unusable as error: print(error)\n"
        )
        done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
        assert done.stdout == (
            f"{len(read(Journal(kept)))}\n"
            f"The journal {path} cannot be written: the file or its folder is read-only, or the disk is full. "
            "Nothing was written.\n"
        )
        assert Path(path).read_bytes() == before
        assert lying_beside(Path(path)) == ["journal.db"]
    finally:
        folder.chmod(0o755)
        Path(path).chmod(0o644)  # what is read-only, Windows does not remove
        shutil.rmtree(folder)


@pytest.mark.parametrize("kilobytes", [8, 60, 200])
def test_a_full_disk_gives_one_sentence_and_keeps_what_was_acknowledged(tmp_path: Path, kilobytes: int) -> None:
    path = tmp_path / "journal.db"
    code = (
        "import pathlib, resource\n"
        "from pupawatch import settings\n"
        "from pupawatch.errors import Unusable\n"
        "from pupawatch.journal.file import Journal\n"
        "from pupawatch.keeper import Keeper\n"
        f"keeper = Keeper(Journal(pathlib.Path({str(path)!r})), settings.load(pathlib.Path('nowhere')))\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({kilobytes} * 1024, resource.RLIM_INFINITY))\n"
        "try:\n"
        "    for number in range(1000): keeper.places.looked(['Roof']); print('kept', flush=True)\n"
        "except Unusable as error: print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    *acknowledged, told = done.stdout.splitlines()
    assert told.startswith(f"The journal {path} cannot be written: the disk is full or failing")
    assert told.endswith("Nothing was written.")
    journal = Journal(path)
    assert len(read(journal)) == len(acknowledged)
    assert journal.problems() == []
    with journal.writing(date(2026, 9, 8)) as append:
        append([looked("Roof", NOW)])
    assert len(read(journal)) == len(acknowledged) + 1
