"""Where a journal lies: paths as Windows and macOS write them, and mounts as Linux does (proc_mounts(5))."""

import sqlite3
from collections.abc import Callable
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

import pytest

from pupawatch.journal import address, whereabouts
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.text import makes_writable, typed

if TYPE_CHECKING:
    from conftest import Answer

MOUNTS = """/dev/sda1 / ext4 rw 0 0
nas:/export /mnt/nas nfs4 rw 0 0
//nas/the\\040cages /mnt/the\\040cages cifs rw 0 0
/dev/sdb1 /mnt/nas/stick vfat rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [("/mnt/nas/j.db", "nfs4"), ("/mnt/the cages/j.db", "cifs"), ("/mnt/nas/stick/j.db", ""), ("/mnt/nash/j.db", "")],
)
def test_a_network_is_known_by_the_mount_that_is_nearest(path: str, kind: str) -> None:
    assert whereabouts.network_type(MOUNTS, PurePosixPath(path)) == kind


@pytest.mark.parametrize(
    ("path", "unc"),
    [
        (PureWindowsPath("//nas/cages/journal.db"), True),
        (PureWindowsPath(r"\\nas\cages\journal.db"), True),
        (PureWindowsPath(r"C:\Users\k\journal.db"), False),
        (PurePosixPath("/home/k/journal.db"), False),
    ],
)
def test_a_computer_of_the_network_is_known_by_its_path(path: PurePath, unc: bool) -> None:
    assert whereabouts.is_unc(path) == unc


@pytest.mark.parametrize(
    ("path", "folder"),
    [
        (PureWindowsPath(r"C:\Users\k\OneDrive - Home\journal.db"), "OneDrive - Home"),
        (PureWindowsPath(r"C:\Users\k\iCloudDrive\journal.db"), "iCloudDrive"),
        (PurePosixPath("/Users/k/Library/Mobile Documents/com~apple~CloudDocs/journal.db"), "Mobile Documents"),
        (PurePosixPath("/Users/k/Library/CloudStorage/Some/journal.db"), "CloudStorage"),
        (PurePosixPath("/home/k/Dropbox/journal.db"), "Dropbox"),
        (PurePosixPath("/home/k/dropbox.db"), ""),
    ],
)
def test_a_folder_that_is_synchronised_is_known_by_its_name(path: PurePath, folder: str) -> None:
    assert whereabouts.synced_folder(path) == folder


@pytest.mark.parametrize(
    ("path", "uri"),
    [
        (PureWindowsPath("C:/Users/Größe/a b#1.db"), "file:///C:/Users/Gr%C3%B6%C3%9Fe/a%20b%231.db"),
        (PureWindowsPath("//nas/cages/j?.db"), "file:////nas/cages/j%3F.db"),
        (PurePosixPath("/home/k/j%.db"), "file:///home/k/j%25.db"),
    ],
)
def test_paths_are_written_as_sqlite_reads_them(path: PurePath, uri: str) -> None:
    assert address.as_uri(path) == uri


def test_sqlite_opens_what_begins_with_two_slashes_and_refuses_a_computer_as_authority(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "a b#1.db").close()
    twice = PureWindowsPath("/" + (tmp_path / "a b#1.db").as_posix())
    assert address.as_uri(twice).startswith("file:////")
    sqlite3.connect(address.as_uri(twice) + "?mode=rw", uri=True).close()
    with pytest.raises(sqlite3.OperationalError, match="invalid uri authority"):
        sqlite3.connect("file://nas/cages/j.db", uri=True)


def test_it_is_told_once_with_the_first_act_and_by_check(
    tmp_path: Path, keeper: Keeper, run: "Callable[..., Answer]"
) -> None:
    folder = tmp_path / "Dropbox"
    folder.mkdir()
    synced = Keeper(Journal(folder / "journal.db"), keeper.settings, keeper.clock, keeper.folder)
    told = [synced.pupae.found(label, "Roof").warnings for label in ("A1", "A2")]
    synced.close()
    assert [len([words for words in some if "is synchronised (Dropbox)" in words]) for some in told] == [1, 0]
    path = folder / "journal.db"
    answer = run("--journal", path, "check")
    assert f"The journal is in {folder}, your settings are in {keeper.folder}." in answer.out
    assert f"`pupawatch restore {path}` copies it to {address.default_path()}" in answer.out
    assert "synchronised" not in run("check").out


def test_what_is_written_passes_the_cache_of_a_disk_where_the_system_can(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    connection = keeper.journal._connection
    assert connection
    told = [connection.execute(f"PRAGMA {what}").fetchone()[0] for what in ("fullfsync", "checkpoint_fullfsync")]
    assert told == [1, 1]


@pytest.mark.parametrize(
    ("word", "windows", "elsewhere"),
    [
        ("M41", "M41", "M41"),
        ("the cages", '"the cages"', "'the cages'"),
        ("@3f9a2c", '"@3f9a2c"', "@3f9a2c"),
        (r"C:\Users\k\j.db", r"C:\Users\k\j.db", r"'C:\Users\k\j.db'"),
        ("a,b (c)", '"a,b (c)"', "'a,b (c)'"),
    ],
)
def test_what_is_to_be_typed_is_quoted_for_the_shell_there(word: str, windows: str, elsewhere: str) -> None:
    assert (typed(word, "win32"), typed(word, "linux")) == (windows, elsewhere)


def test_a_file_is_made_writable_by_the_command_of_the_system() -> None:
    """Microsoft, "attrib": -r clears the read-only mark; a path with spaces stands in quotation marks."""
    assert makes_writable(r"C:\the cages\j.db-shm", "win32") == r'attrib -r "C:\the cages\j.db-shm"'
    assert makes_writable("/home/k/the cages/j.db-shm", "linux") == "chmod u+w '/home/k/the cages/j.db-shm'"
