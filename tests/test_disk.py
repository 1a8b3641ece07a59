"""Files are read only where they are files, and written whole or not at all."""

import errno
import os
import stat
from pathlib import Path

import pytest

from pupawatch import disk


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    return path


def test_a_file_a_folder_and_a_link_to_a_file_may_be_opened(file: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(file)
    assert [disk.regular(path) for path in (file, tmp_path, link)] == [file, tmp_path, link]


@pytest.mark.posix("pipes on Windows have no name in a folder")
def test_a_pipe_and_a_device_are_not_opened(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(OSError, match="Is a pipe or a device, not a file"):
            disk.regular(path)


def test_what_is_not_there_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        disk.regular(tmp_path / "nothing")


def test_a_replaced_file_is_whole_and_keeps_the_links_that_lead_to_it(file: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "elsewhere" / "second"
    second.parent.mkdir()
    second.symlink_to(file)
    first.symlink_to(second)
    disk.replace(first, b"new")
    assert (first.is_symlink(), second.is_symlink(), file.is_symlink()) == (True, True, False)
    assert file.read_bytes() == b"new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["elsewhere", "file", "first"]
    assert [path.name for path in second.parent.iterdir()] == ["second"]


def test_a_rehearsal_leaves_what_lies_there(file: Path) -> None:
    disk.rehearse(file, b"new")
    assert file.read_bytes() == b"old"
    assert os.listdir(file.parent) == ["file"]


def test_a_link_that_leads_nowhere_is_found_wherever_on_the_way(tmp_path: Path) -> None:
    dead = tmp_path / "dead"
    dead.symlink_to(tmp_path / "nothing")
    assert disk.dead_link(dead) == dead
    assert disk.dead_link(dead / "keeper.toml") == dead
    assert disk.dead_link(tmp_path / "no folder" / "keeper.toml") is None


def test_a_new_file_is_never_written_over_another(file: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "nothing")
    for path in (file, link, tmp_path, Path()):
        with pytest.raises(FileExistsError):
            disk.create(path, b"new")
    assert file.read_bytes() == b"old"
    assert sorted(os.listdir(tmp_path)) == ["file", "link"]


def test_a_file_that_comes_while_another_is_written_stays(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os.path, "lexists", lambda _: False)
    with pytest.raises(FileExistsError):
        disk.create(file, b"new")
    assert file.read_bytes() == b"old"


def test_a_disk_without_links_gets_the_whole_file_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unable(draft: Path, path: Path) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", unable)
    disk.create(tmp_path / "new", b"whole")
    assert (tmp_path / "new").read_bytes() == b"whole"
    monkeypatch.setattr(os.path, "lexists", lambda _: False)
    with pytest.raises(FileExistsError):
        disk.create(tmp_path / "new", b"another")
    assert os.listdir(tmp_path) == ["new"]
    assert (tmp_path / "new").read_bytes() == b"whole"


def test_others_may_read_a_new_file_as_the_system_lets_them(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        disk.create(tmp_path / "new", b"")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o644


def test_a_name_as_long_as_any_may_be_is_written(tmp_path: Path) -> None:
    for name in ("x" * 255, "é" * 127):
        disk.create(tmp_path / name, b"new")
        disk.replace(tmp_path / name, b"newer")
        assert (tmp_path / name).read_bytes() == b"newer"
