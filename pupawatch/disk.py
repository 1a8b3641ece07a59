"""The keeper's files on disk: only what is a file is read, and what is written is there whole or not at all."""

import errno
import os
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_TRIES, _BETWEEN_TRIES_SECONDS = 21, 0.05
"""Together a second, for which nobody minds to wait."""


def regular(path: Path) -> Path:
    """The same path, where a file lies there. Raises OSError for a pipe, a device or a socket: to open it could wait
    for ever, to read it have no end. (A folder says so itself when it is opened.)"""
    mode = path.stat().st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise OSError(errno.EINVAL, "Is a pipe or a device, not a file", str(path))
    return path


def dead_link(path: Path) -> Path | None:
    """The link on the way to a path that leads nowhere, None where there is none."""
    return next((part for part in (path, *path.parents) if part.is_symlink() and not part.exists()), None)


def replace(path: Path, data: bytes) -> None:
    """Write a file, replacing one that is there; where links lead to it, they stay. Raises OSError."""
    target = Path(os.path.realpath(path))
    target.parent.mkdir(parents=True, exist_ok=True)
    with _draft(target, data) as draft:
        put(draft, target)


def put(draft: Path, target: Path) -> None:
    """Give a file the name of another, which is gone then. Raises OSError.

    Some systems refuse while anybody reads that other one, as a search or a virus scan does: it is tried for a second.
    """
    for _ in range(_TRIES - 1):
        try:
            draft.replace(target)
        except PermissionError:
            time.sleep(_BETWEEN_TRIES_SECONDS)
        else:
            return
    draft.replace(target)


def rehearse(path: Path, data: bytes) -> None:
    """Do all that ``replace`` does but the last step: what lies there stays as it is. Raises OSError."""
    target = Path(os.path.realpath(path))
    target.parent.mkdir(parents=True, exist_ok=True)
    with _draft(target, data):
        pass


def create(path: Path, data: bytes) -> None:
    """Write a new file. Raises FileExistsError where anything has that name, be it a link to nowhere, else OSError."""
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, "Exists already", str(path))
    with _draft(path, data) as draft:
        try:
            os.link(draft, path)
        except FileExistsError:
            raise
        except OSError:  # a disk without links: the name is taken first, so that nobody else's file is written over
            path.touch(exist_ok=False)
            put(draft, path)


@contextmanager
def _draft(target: Path, data: bytes) -> Iterator[Path]:
    """The data in a file beside the target, on disk; gone afterwards."""
    draft = target.with_name(f"{target.name[:60]}.{os.getpid()}.new")
    try:
        draft.unlink(missing_ok=True)
        with draft.open("xb") as out:  # never through a link that lies there under this name
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        yield draft
    finally:
        with suppress(OSError):
            draft.unlink()
