"""As much of Windows as Linux can play.

What any process holds open can be neither removed nor replaced, a folder cannot be opened, and what only POSIX knows is
not there. As a plugin (``pytest -p windows`` with this folder on the path) it holds for a whole run; the fixture
``windows`` has it for one test. What Windows does is from its documentation (CreateFile, "dwShareMode"; MoveFileEx;
DeleteFile), and of Python's own for the calls that are missing there.
"""

import errno
import os
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest

POSIX_ONLY = ("statvfs", "posix_fadvise", "fork", "chown", "fchmod", "mkfifo")
"""Calls of ``os`` that Python does not have on Windows."""


def play(patch: pytest.MonkeyPatch) -> None:
    """Have this process live on something like Windows until ``patch`` is undone."""
    from pupawatch.journal import address

    for name, held in (("unlink", 0), ("remove", 0), ("replace", 2), ("rename", 2)):
        patch.setattr(os, name, _careful(getattr(os, name), held))
    patch.setattr(os, "open", _files_only(os.open))
    patch.setattr(shutil, "_use_fd_functions", False)
    patch.setattr(os, "supports_effective_ids", set())
    for name in POSIX_ONLY:
        patch.delattr(os, name, raising=False)
    patch.setattr(address, "fcntl", None)


def holders(path: Path) -> set[str]:
    """The processes that hold a file open."""
    try:
        wanted = path.stat()
    except OSError:
        return set()
    found = set()
    for link in Path("/proc").glob("[0-9]*/fd/*"):
        try:
            seen = link.stat()
        except OSError:
            continue
        if (seen.st_dev, seen.st_ino) == (wanted.st_dev, wanted.st_ino):
            found.add(link.parts[2])
    return found


def _careful(real: Any, names: int) -> Any:
    """A call that is refused where a file it names is held open; names: how many paths it takes (0: one, and a folder
    by number)."""

    def call(*paths: Any, dir_fd: int | None = None, **more: Any) -> Any:
        for path in paths[: names or 1]:
            full = Path(os.readlink(f"/proc/self/fd/{dir_fd}"), path) if dir_fd is not None else Path(path)
            if not full.is_dir() and holders(full):
                raise PermissionError(errno.EACCES, "The process cannot access the file", str(full))
        return real(*paths, **more) if dir_fd is None else real(*paths, dir_fd=dir_fd, **more)

    return call


def _files_only(real: Any) -> Any:
    def call(path: Any, flags: int, *args: Any, **more: Any) -> int:
        is_unnamed = flags & os.O_TMPFILE == os.O_TMPFILE  # a file without a name, in a folder
        if isinstance(path, str | bytes | os.PathLike) and os.path.isdir(path) and not is_unnamed:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return int(real(path, flags, *args, **more))

    return call


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """As a plugin: what only POSIX can do is not asked for."""
    for item in items:
        if item.get_closest_marker("posix"):
            item.add_marker(pytest.mark.skip(reason="only POSIX lets an open file be removed, or has the call"))


def pytest_configure(config: pytest.Config) -> None:
    """As a plugin: for the whole run."""
    if sys.platform == "linux":
        patch = pytest.MonkeyPatch()
        play(patch)
        config.add_cleanup(patch.undo)
