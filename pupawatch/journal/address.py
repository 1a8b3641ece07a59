"""Where a journal's file really lies, and how SQLite is told to open it."""

import os
import sqlite3
from pathlib import Path

from pupawatch.errors import Unusable

_LEAST_ROOM_BYTES = 65_536
"""What SQLite needs to lock a file and to write a page or two."""
WAIT_SECONDS = 10.0
"""How long one program waits for another that writes."""


def real(path: Path) -> Path:
    """The file itself, where links lead to it: SQLite keeps its log beside that, so the copies belong there too."""
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        raise Unusable(f"{path} is a link that leads nowhere; name the journal itself.") from None


def is_shelved(path: Path) -> bool:
    """Whether it lies where nothing can be written, by right or for want of room, and nothing stands in its log: SQLite
    reads it only if told so, because it would make its lock files there."""
    asked = {"effective_ids": True} if os.access in os.supports_effective_ids else {}
    if os.access(path.parent, os.W_OK, **asked) and _has_room(path.parent):
        return False
    log = path.with_name(path.name + "-wal")
    return not log.exists() or log.stat().st_size == 0


def _has_room(folder: Path) -> bool:
    if not hasattr(os, "statvfs"):
        return True
    disk = os.statvfs(folder)
    return disk.f_bavail * disk.f_frsize >= _LEAST_ROOM_BYTES


def connect(path: Path, mode: str = "rw") -> sqlite3.Connection:
    """Open the file: mode "rw" to read and write, "ro" only to read. It is never made."""
    how = "mode=ro&immutable=1" if is_shelved(path) else f"mode={mode}"
    where = f"{path.absolute().as_uri()}?{how}"
    return sqlite3.connect(where, uri=True, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False)
