"""Where a journal's file really lies, and how SQLite is told to open it."""

import os
import sqlite3
from pathlib import Path

from pupawatch.errors import Unusable

WAIT_SECONDS = 10.0
"""How long one program waits for another that writes."""


def real(path: Path) -> Path:
    """The file itself, where links lead to it: SQLite keeps its log beside that, so the copies belong there too."""
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        raise Unusable(f"{path} is a link that leads nowhere; name the journal itself.") from None


def is_shelved(path: Path) -> bool:
    """Whether it lies where nothing can be written and nobody has it open: SQLite reads it only if told so, because it
    would make its lock files there."""
    asked = {"effective_ids": True} if os.access in os.supports_effective_ids else {}
    if os.access(path.parent, os.W_OK, **asked):
        return False
    return not any(path.with_name(path.name + end).exists() for end in ("-wal", "-shm"))


def connect(path: Path, mode: str = "rw") -> sqlite3.Connection:
    """Open the file: mode "rw" to read and write, "ro" only to read. It is never made."""
    how = "mode=ro&immutable=1" if is_shelved(path) else f"mode={mode}"
    where = f"{path.absolute().as_uri()}?{how}"
    return sqlite3.connect(where, uri=True, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False)
