"""Files that another program holds, on a system that lets nobody replace or remove them (see ``tests/windows.py``)."""

import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Timer
from typing import TYPE_CHECKING, Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal import address, backup
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.settings import save_places
from tests import windows

if TYPE_CHECKING:
    from conftest import Answer

HOLD = "import sys, time; held = open(sys.argv[1], 'rb'); print('held', flush=True); time.sleep(60)"


@pytest.fixture(autouse=True)
def on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    windows.play(monkeypatch)


@contextmanager
def held(path: Path, hold: str = HOLD) -> Iterator["subprocess.Popen[str]"]:
    """Another program has the file open meanwhile."""
    with subprocess.Popen([sys.executable, "-c", hold, str(path)], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout
        program.stdout.readline()
        try:
            yield program
        finally:
            program.kill()


def test_the_stand_in_refuses_what_windows_does(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with held(tmp_path / "file"):
        for act in (lambda path: path.unlink(), lambda path: path.replace(path), lambda path: path.rename("other")):
            with pytest.raises(PermissionError):
                act(tmp_path / "file")
    (tmp_path / "file").unlink()


def test_the_stand_in_moves_no_folder_in_which_something_is_open(tmp_path: Path) -> None:
    """MS-FSA, FileRenameInformation: a folder with open files is refused."""
    (tmp_path / "folder").mkdir()
    with held(Path(shutil.copy(__file__, tmp_path / "folder"))), pytest.raises(PermissionError):
        (tmp_path / "folder").rename(tmp_path / "other")
    (tmp_path / "folder").rename(tmp_path / "other")
    assert [path.name for path in tmp_path.iterdir()] == ["other"]


def test_the_stand_in_removes_a_link_though_the_file_is_open(tmp_path: Path) -> None:
    """DeleteFile: "If the path points to a symbolic link, the symbolic link is deleted, not the target"."""
    (tmp_path / "file").touch()
    (tmp_path / "link").symlink_to("file")
    with held(tmp_path / "file"):
        (tmp_path / "link").unlink()
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_the_stand_in_keeps_what_is_read_only(tmp_path: Path) -> None:
    """DeleteFile: "If the file is a read-only file, the function fails with ERROR_ACCESS_DENIED"; docs.python.org,
    os.chmod: on Windows it sets no more than that mark. It may be moved."""
    kept, other = tmp_path / "kept", tmp_path / "other"
    kept.touch(0o444)
    other.touch()
    assert (os.access(kept, os.R_OK), os.access(kept, os.W_OK), os.access(other, os.W_OK)) == (True, False, True)
    for act in (kept.unlink, lambda: other.replace(kept)):
        with pytest.raises(PermissionError):
            act()
    kept.rename(tmp_path / "moved").chmod(0o666)
    (tmp_path / "moved").unlink()
    assert [path.name for path in tmp_path.iterdir()] == ["other"]


def test_the_stand_in_renames_over_nothing_and_brings_to_disk_only_what_was_written(tmp_path: Path) -> None:
    """docs.python.org, os.rename: "On Windows, if dst exists a FileExistsError is always raised." FlushFileBuffers:
    "The file handle must have the GENERIC_WRITE access right"."""
    for name in ("one", "two"):
        (tmp_path / name).write_text(name, encoding="ascii")
    with pytest.raises(FileExistsError):
        (tmp_path / "one").rename(tmp_path / "two")
    (tmp_path / "one").replace(tmp_path / "two")
    assert (tmp_path / "two").read_text(encoding="ascii") == "one"
    with (tmp_path / "two").open("rb") as file, pytest.raises(OSError, match="Bad file descriptor"):
        os.fsync(file.fileno())
    with (tmp_path / "two").open("rb+") as file:
        os.fsync(file.fileno())


def read_and_not_written(run: "Callable[..., Answer]", path: Path) -> list[str]:
    """What lies beside a journal after it answered, and refused an act in one sentence."""
    read: Any = run("pupae")
    refused: Any = run("saw", "A1", "set")
    assert (read.code, "A1" in read.out, refused.code, refused.out) == (0, True, 3, "")
    assert "the file or its folder is read-only, or the disk is full. Nothing was written." in refused.err
    return [one.name for one in path.parent.iterdir() if one.is_file()]


def test_a_journal_with_the_read_only_mark_is_read(keeper: Keeper, run: "Callable[..., Answer]") -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.close()
    keeper.journal.path.chmod(0o444)
    assert read_and_not_written(run, keeper.journal.path) == ["journal.db"]
    keeper.journal.path.chmod(0o644)
    assert run("saw", "A1", "set")[0] == 0


@pytest.mark.parametrize("number", [errno.EACCES, errno.ENOSPC])
def test_a_journal_in_a_folder_that_takes_no_file_is_read(
    keeper: Keeper, run: "Callable[..., Answer]", monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """There is no other sign of it: os.access says yes of every folder on Windows (docs.python.org, os.access)."""
    keeper.pupae.found("A1", "Roof")
    keeper.close()
    folder, opened = keeper.journal.path.parent, os.open

    def refusing(path: Any, flags: int, *more: Any, **named: Any) -> int:
        if flags & os.O_CREAT and Path(path).parent == folder:
            raise OSError(number, os.strerror(number), str(path))
        return opened(path, flags, *more, **named)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refusing)
        assert read_and_not_written(run, keeper.journal.path) == ["journal.db"]
    assert run("saw", "A1", "set")[0] == 0


def test_an_act_is_written_though_the_copy_of_the_day_is_held(keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    """A virus scan opens every new file: the draft can then neither be given its name nor be removed."""
    keeper.pupae.found("A1", "Roof")
    scanned = []
    whole = backup.is_whole

    def scanning(path: Path) -> bool:
        scanned.append(path.open("rb"))
        return whole(path)

    monkeypatch.setattr(backup, "is_whole", scanning)
    done = keeper.pupae.note("A1", "hangs by one thread")
    scanned[0].close()
    assert any(warning.startswith("No backup of the journal could be written to") for warning in done.warnings)
    keeper.read_anew()
    assert "hangs by one thread" in [getattr(entry, "text", "") for entry in keeper.pupa("A1").entries]


def test_places_are_written_once_whoever_reads_them_is_done(keeper: Keeper, config: Path) -> None:
    with held(config / "places.toml") as reader:
        Timer(0.3, reader.kill).start()
        save_places(keeper.settings.places[:1], config)
    assert "Jar" not in (config / "places.toml").read_text(encoding="utf-8")


def test_places_that_stay_held_are_told_and_nothing_is_left(keeper: Keeper, config: Path) -> None:
    before = sorted(config.iterdir())
    with held(config / "places.toml"), pytest.raises(Unusable, match="could not be written to"):
        save_places(keeper.settings.places[:1], config)
    assert sorted(config.iterdir()) == before


def test_a_restore_beside_an_open_journal_is_refused_first(keeper: Keeper, run: "Callable[..., Answer]") -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    copy = keeper.journal.copy_to(backup.folder_of(path) / "journal-mine.db")
    keeper.close()
    before = sorted(path.parent.rglob("*"))
    opening = (
        "import sys, sqlite3, time; c = sqlite3.connect(sys.argv[1]); c.execute('SELECT * FROM entry').fetchall();"
    )
    with held(path, f"{opening} print('open', flush=True); time.sleep(60)"):
        answer: Any = run("restore", copy, "--yes")
    assert (answer.code, answer.out) == (3, "")
    assert "is open in another pupawatch; close that first. Nothing was changed." in answer.err
    assert [p for p in sorted(path.parent.rglob("*")) if p not in address.beside(path)] == before
    assert run("restore", copy, "--yes").code == 0


def test_a_restore_that_is_held_up_at_the_last_moment_changes_nothing(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper.pupae.found("A1", "Roof")
    path = keeper.journal.path
    copy = keeper.journal.copy_to(backup.folder_of(path) / "journal-mine.db")
    keeper.pupae.found("A2", "Roof")
    keeper.close()
    monkeypatch.setattr(address, "_is_let_go", lambda _: True)  # it is opened only after it was asked about
    with held(path), pytest.raises(Unusable, match="could not be put in place, so nothing was changed"):
        backup.restore(copy, path, "now")
    journal = Journal(path)
    assert {entry.label for some in journal.read_all() for entry in some if hasattr(entry, "label")} >= {"A1", "A2"}
    journal.close()
    assert not list(path.parent.glob("*-replaced-*"))
    assert not list(path.parent.glob("*.restored*"))
