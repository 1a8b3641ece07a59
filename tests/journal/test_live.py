"""A journal that several programs have open at once: SQLite's locks hold, and nothing but SQLite touches the file.

That closing a file gives back every lock of the process on it is POSIX's rule (sqlite.org, "How To Corrupt An SQLite
Database File", 2.2); which bytes SQLite locks, and how its log is summed up, stands there too ("File Locking And
Concurrency", "WAL-mode File Format"). The rest is what this program promises its keeper.
"""

import io
import os
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from typing import IO, Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal import address, backup, log
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper

Run = Callable[..., Any]


# -- the guard of this suite


@pytest.mark.parametrize("tail", ["", "-wal", "-shm"])
def test_the_guard_sees_whoever_opens_a_file_that_a_connection_has_open(keeper: Keeper, guard: Any, tail: str) -> None:
    keeper.places.looked(["Roof"])
    path = keeper.journal.path
    path.with_name(path.name + tail).read_bytes()
    assert [seen.split(" was opened")[0] for seen in guard.seen] == [str(path) + tail]
    assert __file__ in guard.seen[0]
    guard.seen.clear()


def test_the_guard_sees_connections_that_a_test_makes_and_knows_when_they_are_closed(
    tmp_path: Path, guard: Any
) -> None:
    path = tmp_path / "any.db"
    foreign = sqlite3.connect(path)
    foreign.execute("CREATE TABLE any (x)")
    (tmp_path / "link.db").symlink_to(path)
    (tmp_path / "link.db").read_bytes()
    assert len(guard.seen) == 1
    guard.seen.clear()
    foreign.close()
    path.read_bytes()
    assert guard.seen == []


# -- one program with two connections, and others that write


HOLDER = """
import pathlib, sys, threading
from pupawatch import settings
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
path, nowhere = pathlib.Path(sys.argv[1]), settings.load(pathlib.Path("nowhere"))
keeper = Keeper(Journal(path), nowhere)
keeper.places.looked(["Roof"])
own = []
thread = threading.Thread(target=lambda: own.append(Keeper(Journal(path), nowhere)))  # as the forecasts have one
thread.start()
thread.join()
print("ready", flush=True)
for number in range(int(sys.stdin.readline())):
    keeper.places.looked([f"Holder {number}"])
    own[0].refresh()
sys.stdin.readline()
keeper.refresh(), own[0].refresh()
print(keeper.journal.last(), own[0].journal.last(), len(keeper.state.looks), len(own[0].state.looks), flush=True)
sys.stdin.readline()
keeper.journal.close(), own[0].journal.close()
"""
COMMANDS = """
import pathlib, sys
from pupawatch import settings
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
for number in range(int(sys.argv[3])):
    journal = Journal(pathlib.Path(sys.argv[1]))
    journal.verify()
    Keeper(journal, settings.load(pathlib.Path("nowhere"))).places.looked([f"{sys.argv[2]} {number}"])
    journal.close()
"""


@contextmanager
def held(path: Path) -> Iterator[tuple["subprocess.Popen[str]", Callable[[object], None]]]:
    """Another program that has the journal open twice; and how to say something to it."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, path], text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == "ready\n"

        def say(words: object) -> None:
            holder.stdin.write(f"{words}\n")
            holder.stdin.flush()

        try:
            yield holder, say
        finally:
            holder.kill()


@pytest.mark.parametrize("end", ["closed", "killed"])
def test_commands_beside_an_open_dashboard_and_its_forecasts_lose_nothing(journal_path: Path, end: str) -> None:
    times = 15
    with held(journal_path) as (holder, say):
        say(times)
        writers = [
            subprocess.Popen([sys.executable, "-c", COMMANDS, journal_path, name, str(times)], stderr=subprocess.PIPE)
            for name in ("One", "Two")
        ]
        assert [writer.communicate()[1] for writer in writers] == [b"", b""]
        say("what do you see?")
        written = 3 * times + 1
        assert holder.stdout.readline().split() == [str(written)] * 4
        if end == "killed":
            holder.send_signal(signal.SIGKILL)
        else:
            say("close")
        assert holder.wait(30) == (-signal.SIGKILL if end == "killed" else 0)
    journal = Journal(journal_path)
    assert journal.problems() == []
    seen = [entry.about for some in journal.read_all() for entry in some]
    journal.close()
    names = ("Holder", "One", "Two")
    assert sorted(seen) == sorted(["Roof", *(f"{name} {number}" for name in names for number in range(times))])


def test_a_second_journal_of_one_process_costs_the_first_no_lock(keeper: Keeper, run: Run) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    for look in (Journal(path), Journal(path)):
        look.verify()
        look.close()
    backup.is_whole(path)
    assert log.problem(path) == ""
    probe = (
        "import pathlib, sys\n"
        "from pupawatch.journal import address\n"
        "with address.alone(pathlib.Path(sys.argv[1])) as nobody_else: print(nobody_else)\n"
    )
    done = subprocess.run([sys.executable, "-c", probe, path], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_to_look_at_a_file_leaves_nothing_beside_it_nor_takes_anything_away(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.journal.close()
    path = keeper.journal.path
    before = sorted(other.name for other in path.parent.iterdir())
    assert path.read_bytes()[18:20] == b"\2\2"  # it is kept with a write-ahead log
    assert backup.is_whole(path)
    assert backup.copy_closed(path, tmp_path / "copy.db").exists()
    assert sorted(other.name for other in path.parent.iterdir()) == before


def test_a_merge_leaves_nothing_beside_the_other_journal(keeper: Keeper, run: Run, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.journal.close()
    path = keeper.journal.path
    before = {other.name: other.read_bytes() for other in path.parent.iterdir()}
    assert run("--journal", tmp_path / "own.db", "merge", path).out == "New: 1 entry, 0 readings.\n"
    assert {other.name: other.read_bytes() for other in path.parent.iterdir()} == before


def test_a_file_that_is_written_while_it_is_copied_is_copied_anew(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.journal.close()
    path, asked = keeper.journal.path, []

    def question(connection: sqlite3.Connection) -> int:
        if not asked:  # another program writes between the first look and the answer
            subprocess.run([sys.executable, "-c", COMMANDS, path, "Other", "1"], check=True)
        asked.append(1)
        return int(connection.execute("SELECT count(*) FROM entry").fetchone()[0])

    assert address.asked(path, question) == 2
    assert len(asked) == 2


# -- the log


@pytest.fixture
def logged(keeper: Keeper, as_killed: Callable[[Path], Path]) -> Path:
    """A journal as a kill leaves it: the newest entries stand in its log only."""
    for number in range(6):
        keeper.pupae.found(f"A{number}", "Roof")
    path = as_killed(keeper.journal.path)
    keeper.journal.close()
    return path


PAGE = 24 + 4096
"""A page in the log, with the head of its frame."""


def commits(path: Path) -> list[int]:
    """Where the frames begin with which a write is complete, in the log of a journal in its first round."""
    data = log.of(path).read_bytes()
    return [at for at in range(32, len(data), PAGE) if any(data[at + 4 : at + 8])]


@pytest.mark.parametrize("at", [*range(24), 30, 4000])
def test_whatever_is_flipped_in_the_newest_write_is_told(logged: Path, at: int) -> None:
    """In its last frame: the page number, the mark that it is complete, the salt, the sum, and what it holds."""
    last = commits(logged)[-1]
    data = bytearray(log.of(logged).read_bytes())
    assert len(data) == last + PAGE
    assert log.problem(logged) == ""
    data[last + at] ^= 1
    log.of(logged).write_bytes(data)
    assert "is damaged: of its" in log.problem(logged)


def test_the_log_adds_up_as_sqlite_adds_it_up(logged: Path) -> None:
    """Of every log cut short, as many pages are read as SQLite brings into the file."""
    data = log.of(logged).read_bytes()
    for at in (*commits(logged), len(data) - 1, len(data)):
        home = logged.parent / "cut"
        home.mkdir()
        path = Path(shutil.copy(logged, home))
        log.of(path).write_bytes(data[:at])
        read = log._Log(io.BytesIO(data[:at])).complete
        assert log.problem(path) == ""
        with closing(sqlite3.connect(path)) as file:
            assert file.execute("PRAGMA wal_checkpoint").fetchone() == (0, read, read)
        shutil.rmtree(home)


def test_a_write_that_another_program_is_just_completing_is_no_damage(logged: Path) -> None:
    whole = log.of(logged).read_bytes()
    last = commits(logged)[-1]
    torn = whole[: last + 2000] + bytes(PAGE - 2000)
    log.of(logged).write_bytes(torn)
    assert "is damaged" in log._look(logged)
    done = threading.Timer(0.03, log.of(logged).write_bytes, [whole])
    done.start()
    assert log.problem(logged) == ""
    done.join()


def test_frames_left_over_from_an_earlier_round_are_no_damage(
    keeper: Keeper, as_killed: Callable[[Path], Path]
) -> None:
    for number in range(6):
        keeper.pupae.found(f"A{number}", "Roof")
    with closing(sqlite3.connect(keeper.journal.path)) as file:
        assert file.execute("PRAGMA wal_checkpoint(RESTART)").fetchone()[0] == 0
    size = address.age(log.of(keeper.journal.path))[1]
    keeper.pupae.found("A7", "Roof")
    path = as_killed(keeper.journal.path)
    assert log.of(path).stat().st_size == size  # the new round overwrote only its beginning
    assert log.problem(path) == ""


def test_a_log_that_claims_pages_of_no_size_is_told_as_damage(logged: Path) -> None:
    data = bytearray(log.of(logged).read_bytes())
    data[8:12] = struct.pack(">I", 12)
    head = bytes(data[:24])
    order = "<" if data[3] == 0x82 else ">"
    data[24:32] = struct.pack(">2I", *log._summed(order, head))
    log.of(logged).write_bytes(data)
    assert "at its beginning" in log.problem(logged)


def test_the_log_is_never_looked_at_while_the_journal_is_open_here(keeper: Keeper, guard: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    with address.raw(keeper.journal.path) as may_read:
        assert not may_read
    assert log.problem(keeper.journal.path) == ""
    assert guard.seen == []
    keeper.journal.close()
    with address.raw(keeper.journal.path) as may_read:
        assert may_read


def test_the_log_is_kept_short(keeper: Keeper) -> None:
    keeper.temperatures.log([("home", 300 * n, 18.0) for n in range(90_000)], {"home": None}, [])
    assert address.age(log.of(keeper.journal.path))[1] < 2_000_000
    for number in range(60):
        keeper.places.looked([f"Place {number}"])
    assert address.age(log.of(keeper.journal.path))[1] < 200 * PAGE


# -- restore


def test_a_restore_beside_an_open_pupawatch_is_refused_before_anything_is_touched(
    run: Run, journal_path: Path, tmp_path: Path
) -> None:
    run("found", "A1", "--place", "Roof")
    run("backup", tmp_path / "mine.db")
    with held(journal_path):
        before = {other.name: other.stat().st_mtime_ns for other in journal_path.parent.iterdir()}
        answer = run("restore", tmp_path / "mine.db", "--yes")
        assert (answer.code, answer.out) == (3, "")
        assert "is open in another pupawatch; close that first. Nothing was changed." in answer.err
        assert {other.name: other.stat().st_mtime_ns for other in journal_path.parent.iterdir()} == before
        assert journal_path.stat().st_nlink == 1
    answer = run("restore", tmp_path / "mine.db", "--yes")
    assert answer.code == 0


def test_a_restored_journal_that_is_only_looked_at_cannot_be_restored_beneath_either(
    keeper: Keeper, tmp_path: Path
) -> None:
    keeper.pupae.found("A1", "Roof")
    copy = keeper.journal.copy_to(tmp_path / "mine.db")
    keeper.journal.close()
    backup.restore(copy, keeper.journal.path, "first")
    looking = (
        "import pathlib, sys\n"
        "from pupawatch.journal.file import Journal\n"
        "journal = Journal(pathlib.Path(sys.argv[1]))\n"
        "print(journal.last(), flush=True)\n"
        "sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", looking, keeper.journal.path], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert _line(other.stdout) == b"1\n"
        with pytest.raises(Unusable, match="is open in another pupawatch"):
            backup.restore(copy, keeper.journal.path, "second")


def _line(pipe: IO[bytes] | None) -> bytes:
    assert pipe is not None
    return pipe.readline()


@pytest.mark.posix("on Windows the refusal itself says that it is open; tests/journal/test_held.py has it")
def test_a_restore_that_cannot_exchange_the_files_leaves_everything_as_it_was(
    logged: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on Windows, where a file that is open can be neither replaced nor removed."""
    copy = backup.copy_closed(logged, logged.with_name("mine.db"))
    index = logged.with_name(logged.name + "-shm")
    index.unlink(missing_ok=True)
    before = {other.name: other.read_bytes() for other in logged.parent.iterdir()}
    replace = Path.replace

    def refused(path: Path, target: Path) -> Path:
        if target == logged:
            raise PermissionError(13, "The process cannot access the file")
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(Unusable, match=r"so nothing was changed: .*cannot access"):
        backup.restore(copy, logged, "now")
    assert {other.name: other.read_bytes() for other in logged.parent.iterdir()} == before
    assert logged.stat().st_nlink == log.of(logged).stat().st_nlink == 1


def test_what_is_written_while_a_restore_is_prepared_is_not_put_aside(keeper: Keeper, tmp_path: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    copy = keeper.journal.copy_to(tmp_path / "mine.db")
    keeper.journal.close()
    path = keeper.journal.path
    before = sorted(other.name for other in path.parent.iterdir())

    def meanwhile(draft: Path) -> None:
        subprocess.run([sys.executable, "-c", COMMANDS, path, "Other", "1"], check=True)

    with pytest.raises(Unusable, match="was opened by another pupawatch just now, so nothing was changed"):
        backup.restore(copy, path, "now", meanwhile)
    journal = Journal(path)
    assert journal.last() == 2
    journal.close()
    after = {other.name for other in path.parent.iterdir()} - {"journal-copies"}
    assert sorted(after) == before


def test_a_restore_of_a_whole_journal_says_what_it_would_put_aside_and_asks(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("found", "A1", "--place", "Roof")
    run("backup", tmp_path / "mine.db")
    for number in range(2, 5):
        run("found", f"A{number}", "--place", "Roof")
    told = "is undamaged, and 3 entries and 0 readings in it are not in the backup"
    answer = run("restore", tmp_path / "mine.db")
    assert (answer.code, answer.out) == (2, "")
    assert told in answer.err
    assert "--yes" in answer.err
    asked: list[str] = []

    def typing(word: str) -> Callable[[str], str]:
        return lambda question: (asked.append(question), word)[1]

    monkeypatch.setattr("sys.stdin", type("Terminal", (io.StringIO,), {"isatty": lambda self: True})())
    for word in ("", "n", "what?"):
        monkeypatch.setattr("builtins.input", typing(word))
        assert run("restore", tmp_path / "mine.db").code == 2
    assert run("history", "A4").code == 0
    monkeypatch.setattr("builtins.input", typing("y"))
    assert run("restore", tmp_path / "mine.db").code == 0
    assert run("history", "A4").code == 2
    assert all(told in question for question in asked)
    assert len(asked) == 4
    assert run("restore", tmp_path / "mine.db").code == 0  # nothing stands in it alone any more
    assert len(asked) == 4


@pytest.mark.posix("on Windows nothing takes the place of a file that is open")
def test_a_journal_that_came_in_the_place_of_another_while_it_was_opened_is_the_one_that_is_read(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    keeper.pupae.found("A1", "Roof")
    copy = keeper.journal.copy_to(tmp_path / "mine.db")
    keeper.pupae.saw("A1", "set")
    keeper.journal.close()
    connect = sqlite3.connect

    def replaced(where: str, **named: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(where, **named)
        if "mode=rw" in where and copy.exists():
            os.replace(copy, keeper.journal.path)
        return connection

    monkeypatch.setattr(sqlite3, "connect", replaced)
    journal = Journal(keeper.journal.path)
    assert journal.last() == 1
    with journal.writing(date(2026, 9, 8)):
        pass
    journal.close()
