"""What still reads out of a damaged journal, and what ``restore`` makes of it.

The second opinion on what a whole file holds is SQLite itself. What a page, an overflow page and a log frame are is
taken from sqlite.org ("Database File Format", "WAL-mode File Format"); that nothing readable is given up is this
program's promise.
"""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal import backup, log, salvage, schema
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper

ROOT = Path(__file__).parents[2]
Run = Callable[..., Any]


def rows(path: Path) -> list[tuple[Any, ...]]:
    """What SQLite reads in a whole journal."""
    with closing(sqlite3.connect(path)) as file:
        return file.execute(f"SELECT seq, {schema.COLUMNS} FROM entry ORDER BY seq").fetchall()


def salvaged(path: Path) -> list[tuple[Any, ...]]:
    found = salvage.read(path).entries.values()
    return sorted((seq, *row, schema.checksum(*row)) for seq, row in found)


@pytest.fixture
def kept(keeper: Keeper) -> Path:
    """A closed journal of some pages: pupae, notes as long as they may be, and readings round and crooked."""
    for number in range(40):
        keeper.pupae.found(f"A{number}", "Roof")
    for number in range(4):
        keeper.pupae.note(f"A{number}", "ä" * 1999 + str(number))  # runs over into a page of its own
    keeper.temperatures.log([("home", 300 * n, 18 + n % 7 * 0.5) for n in range(900)], {"home": None}, ["Roof"])
    keeper.journal.close()
    return keeper.journal.path


def test_of_a_whole_journal_everything_is_found(kept: Path) -> None:
    found = salvage.read(kept)
    assert salvaged(kept) == rows(kept)
    with closing(sqlite3.connect(kept)) as file:
        assert sorted(found.readings) == sorted(file.execute("SELECT sensor, at, celsius FROM reading"))


def test_what_stands_only_in_the_log_is_found(keeper: Keeper, as_killed: Callable[[Path], Path]) -> None:
    for number in range(10):
        keeper.pupae.found(f"A{number}", "Roof")
    path = as_killed(keeper.journal.path)
    assert log.of(path).stat().st_size > 0
    assert salvaged(path) == rows(keeper.journal.path)
    assert salvage.read(path).entries.keys() > salvage.read(without_its_log(path)).entries.keys()


def without_its_log(path: Path) -> Path:
    return Path(shutil.copy(path, path.with_name("without.db")))


def test_pages_are_not_looked_through_while_the_journal_is_open(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    with pytest.raises(Unusable, match="is open here"):
        salvage.read(keeper.journal.path)


@pytest.mark.parametrize("page_lost", range(1, 40, 3))
def test_a_lost_page_costs_only_what_stood_on_it(kept: Path, page_lost: int) -> None:
    whole = rows(kept)
    data = bytearray(kept.read_bytes())
    data[(page_lost - 1) * 4096 : page_lost * 4096] = os.urandom(4096)
    kept.write_bytes(data[: len(data)])
    left = salvaged(kept)
    assert set(left) <= set(whole)
    assert len(whole) - len(left) <= 16  # a page of 4096 bytes holds so many of the shortest entries here


def test_whatever_is_flipped_nothing_false_is_found(kept: Path) -> None:
    whole, chance, data = rows(kept), random.Random(7), kept.read_bytes()
    fewest = len(whole)
    for _ in range(40):
        torn = bytearray(data)
        for _ in range(chance.randint(1, 20)):
            torn[chance.randrange(len(torn))] ^= 1 << chance.randrange(8)
        kept.write_bytes(torn[: chance.choice([len(torn), len(torn), chance.randrange(len(torn))])])
        left = salvaged(kept)
        assert {row[1:] for row in left} <= {row[1:] for row in whole}
        fewest = min(fewest, len(left))
    assert fewest < len(whole)  # something was damaged indeed


@pytest.mark.parametrize("data", [b"", b"SQLite format 3\0", b"\0" * 5000, b"Dear diary. " * 900])
def test_of_what_is_no_journal_nothing_is_found(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "x.db").write_bytes(data)
    assert salvage.read(tmp_path / "x.db") == salvage.Found({}, set())
    assert salvage.read(tmp_path / "nowhere.db") == salvage.Found({}, set())
    assert salvage.read(tmp_path) == salvage.Found({}, set())


# -- restore


def a_season(run: Run, clock: Any) -> None:
    """One day with a pupa; the next, after the copy of that day was made, twenty more and a remark."""
    run("found", "A0", "--place", "Roof")
    clock.on(days=1)
    for number in range(1, 21):
        run("found", f"A{number}", "--place", "Roof")
    run("note", "A1", "an unmistakable remark")
    run("note", "A2", "written down last")


def labels(run: Run) -> list[str]:
    import json

    return sorted(pupa["label"] for pupa in json.loads(run("pupae", "--json").out)["pupae"])


def test_restoring_a_damaged_journal_brings_back_the_newest_copy_and_all_that_still_reads(
    run: Run, journal_path: Path, clock: Any
) -> None:
    a_season(run, clock)
    damaged = journal_path.read_bytes().replace(b"unmistakable", b"unmistakaBle")
    journal_path.write_bytes(damaged)
    answer = run("restore")  # without a name: the newest good copy
    assert (answer.code, answer.err) == (0, "")
    told = answer.out.splitlines()
    assert "journal-copies/journal-2026-09-09.db again. The file that was there before is kept as" in told[0]
    assert told[1] == "Recovered from the damaged file: 21 more entries and 0 undamaged readings."
    assert labels(run) == sorted(f"A{number}" for number in range(21))
    assert "written down last" in run("history", "A2").out
    assert "remark" not in run("history", "A1").out
    assert run("check").code == 0
    (aside,) = journal_path.parent.glob("journal-replaced-*.db")
    assert aside.read_bytes() == damaged
    assert run("undo").out == "Undone: A2 note: written down last.\n"  # the order of writing was kept


def test_a_damaged_journal_without_a_copy_is_made_anew_of_what_still_reads(
    run: Run, journal_path: Path, clock: Any
) -> None:
    a_season(run, clock)
    shutil.rmtree(journal_path.parent / "journal-copies")
    torn = bytearray(journal_path.read_bytes())
    torn[100] ^= 1  # the root of everything: SQLite reads nothing
    journal_path.write_bytes(torn)
    assert run("today").code == 3
    answer = run("restore")
    assert "is now rebuilt. The file that was there before is kept as" in answer.out
    assert "23 more entries" in answer.out
    assert labels(run) == sorted(f"A{number}" for number in range(21))
    assert run("check").code == 0


def test_going_back_to_a_copy_of_a_whole_journal_takes_nothing_from_it(run: Run, clock: Any) -> None:
    a_season(run, clock)
    answer = run("restore", "--yes")
    assert (answer.code, "Out of" in answer.out) == (0, False)
    assert labels(run) == ["A0"]


def test_without_a_copy_and_without_damage_there_is_nothing_to_restore(run: Run) -> None:
    run("found", "A1", "--place", "Roof")
    answer = run("restore")
    assert (answer.code, answer.out) == (2, "")
    assert "There is no good backup" in answer.err


@pytest.mark.parametrize("call", range(1, 12))
def test_a_restore_that_is_killed_anywhere_leaves_a_journal_with_everything(
    keeper: Keeper, clock: Any, call: int, config: Path
) -> None:
    keeper.pupae.found("A1", "Roof")
    clock.on(days=1)
    keeper.pupae.saw("A1", "set")
    path = keeper.journal.path
    keeper.journal.close()
    code = (
        "import os, sys, pathlib\n"
        "from pupawatch.journal import backup\n"
        "left = int(sys.argv[1])\n"
        "def counted(do):\n"
        "    def done(*given, **named):\n"
        "        global left\n"
        "        left -= 1\n"
        "        if left == 0: os._exit(9)\n"
        "        return do(*given, **named)\n"
        "    return done\n"
        "os.link = counted(os.link)\n"
        "for name in ('replace', 'unlink'): setattr(pathlib.Path, name, counted(getattr(pathlib.Path, name)))\n"
        f"backup.restore(next(backup.good_copies(pathlib.Path({str(path)!r}))), pathlib.Path({str(path)!r}), 'now')\n"
    )
    subprocess.run([sys.executable, "-c", code, str(call)], cwd=ROOT, check=False)
    journal = Journal(path)
    assert journal.problems() == []
    assert journal.last() in (1, 2)
    if journal.last() == 1:  # it was done: what was there is kept
        assert backup.is_whole(path.with_name("journal-replaced-now.db"))
    journal.close()


# -- damage in the log


@pytest.fixture
def logged(keeper: Keeper, clock: Any, as_killed: Callable[[Path], Path]) -> Path:
    """A journal as a kill leaves it: the newest entries stand in its log only."""
    for number in range(8):
        keeper.pupae.found(f"A{number}", "Roof")
        clock.now += timedelta(minutes=1)
    path = as_killed(keeper.journal.path)
    keeper.journal.close()
    return path


def test_a_kill_leaves_a_log_that_is_read_whole(logged: Path) -> None:
    journal = Journal(logged)
    assert (journal.last(), journal.problems()) == (8, [])


@pytest.mark.parametrize("at", [0, 9, 17, 24, 32, 33, 41, 50, 60, 3000, 30_000])
def test_a_flipped_bit_in_the_log_is_told_and_what_follows_it_is_salvaged(run: Run, logged: Path, at: int) -> None:
    data = bytearray(log.of(logged).read_bytes())
    data[at] ^= 4
    log.of(logged).write_bytes(data)
    before = {path.name: path.read_bytes() for path in logged.parent.iterdir()}
    for command in (["pupae"], ["check"], ["looked"]):
        answer = run("--journal", logged, *command)
        assert (answer.code, answer.out) == (3, "")
        assert "The log beside the journal, journal.db-wal, which holds the newest entries, is damaged" in answer.err
    assert {path.name: path.read_bytes() for path in logged.parent.iterdir() if path.suffix != ".db-shm"} == before
    assert run("--journal", logged, "restore").code == 0
    assert run("--journal", logged, "check").code == 0
    assert len(labels(lambda *words: run("--journal", logged, *words))) >= 7
