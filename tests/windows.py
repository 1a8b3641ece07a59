"""As much of Windows as Linux can play.

What any process holds open can be neither removed nor replaced, nor a folder moved in which something is open; what is
read-only can be neither removed nor replaced; no name that exists is taken by ``os.rename``; a folder cannot be opened,
nor brought to disk what was opened to be read; and what only POSIX knows is not there. As a plugin (``pytest -p
tests.windows``) it holds for a whole run; ``play`` has it for one test. What Windows does is from its documentation
(CreateFile, "dwShareMode"; MoveFileEx; DeleteFile; FlushFileBuffers; MS-FSA, "FileRenameInformation"), and of Python's
own for the calls that are missing there or do less (``os.access``, ``os.rename``).
"""

import errno
import os
import shutil
import stat
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

POSIX_ONLY = ("statvfs", "posix_fadvise", "fork", "chown", "fchmod", "mkfifo")
"""Calls of ``os`` that Python does not have on Windows."""


def play(patch: pytest.MonkeyPatch) -> None:
    """Have this process live on something like Windows until ``patch`` is undone."""
    from pupawatch.journal import address

    if sys.platform == "win32":  # nothing is to be played
        return
    for name in ("unlink", "remove"):
        patch.setattr(os, name, _removing(getattr(os, name)))
    for name in ("replace", "rename"):
        patch.setattr(os, name, _moving(getattr(os, name), may_replace=name == "replace"))
    patch.setattr(os, "open", _files_only(os.open))
    patch.setattr(os, "fsync", _written_only(os.fsync))
    patch.setattr(os, "access", _access)
    patch.setattr(shutil, "_use_fd_functions", False)
    patch.setattr(os, "supports_effective_ids", set())
    for name in POSIX_ONLY:
        patch.delattr(os, name, raising=False)
    patch.setattr(address, "fcntl", None)


def is_held(path: Path) -> bool:
    """Whether any process has the file open, be it by another name; a link is not the file it leads to."""
    try:
        wanted = path.lstat()
    except OSError:
        return False
    return any(os.path.samestat(seen, wanted) for _, seen in _opened())


def _holds_an_open_file(folder: Path) -> bool:
    within = os.path.realpath(folder) + os.sep
    for link, _ in _opened():
        with suppress(OSError):
            if os.readlink(link).startswith(within):
                return True
    return False


def _opened() -> Iterator[tuple[str, os.stat_result]]:
    """All that processes have open: where the system shows it, and what it is."""
    for process in filter(str.isdigit, os.listdir("/proc")):
        with suppress(OSError):  # it has ended, or is somebody else's
            for number in os.listdir(f"/proc/{process}/fd"):
                with suppress(OSError):
                    link = f"/proc/{process}/fd/{number}"
                    yield link, os.stat(link)


def _removing(real: Any) -> Any:
    def call(path: Any, *, dir_fd: int | None = None) -> None:
        full = Path(path) if dir_fd is None else Path(os.readlink(f"/proc/self/fd/{dir_fd}"), path)
        _refuse_if_kept(full)
        real(path, dir_fd=dir_fd)

    return call


def _moving(real: Any, may_replace: bool) -> Any:
    def call(old: Any, new: Any) -> None:
        source, target = Path(old), Path(new)
        if (_is_folder(source) and _holds_an_open_file(source)) or is_held(source):
            raise PermissionError(errno.EACCES, "The process cannot access the file", str(source))
        if os.path.abspath(source) != os.path.abspath(target):
            if not may_replace and os.path.lexists(target):
                raise FileExistsError(errno.EEXIST, "Cannot create a file when that file already exists", str(target))
            _refuse_if_kept(target)
        real(old, new)

    return call


def _refuse_if_kept(path: Path) -> None:
    """Raise PermissionError for a file that may be neither removed nor replaced."""
    if _is_folder(path):
        return
    if os.path.lexists(path) and not path.lstat().st_mode & stat.S_IWUSR:
        raise PermissionError(errno.EACCES, "Access is denied", str(path))
    if is_held(path):
        raise PermissionError(errno.EACCES, "The process cannot access the file", str(path))


def _is_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _access(path: Any, mode: int) -> bool:
    """Knows only whether a file is there and not marked read-only; of a folder it says yes."""
    try:
        found = os.stat(path)
    except OSError:
        return False
    return not mode & os.W_OK or stat.S_ISDIR(found.st_mode) or bool(found.st_mode & stat.S_IWUSR)


def _written_only(real: Any) -> Any:
    """For ``os.fsync``, which Windows refuses of what was opened only to be read."""
    import fcntl

    def call(file: Any) -> None:
        handle = file if isinstance(file, int) else file.fileno()
        if fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(errno.EBADF, "Bad file descriptor")
        real(file)

    return call


def _files_only(real: Any) -> Any:
    def call(path: Any, flags: int, *args: Any, **more: Any) -> int:
        is_unnamed = flags & os.O_TMPFILE == os.O_TMPFILE  # a file without a name, in a folder
        if isinstance(path, str | bytes | os.PathLike) and os.path.isdir(path) and not is_unnamed:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return int(real(path, flags, *args, **more))

    return call


def pytest_configure(config: pytest.Config) -> None:
    """As a plugin: for the whole run."""
    if sys.platform == "linux":
        patch = pytest.MonkeyPatch()
        play(patch)
        config.add_cleanup(patch.undo)
