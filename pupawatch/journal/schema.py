"""The shape of a journal file and the steps that bring an older one up to date."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import Unusable

APPLICATION_ID = 0x50555057  # "PUPW"
_MAGIC = b"SQLite format 3\0"


def _first(connection: sqlite3.Connection) -> None:
    """Version 1: the entries, and the triggers that keep them.

    ``body`` is the whole entry as JSON; the columns before it are copies to search by. ``about`` is the pupa, the
    place or the act the entry is about. ``crc32`` covers every column but ``seq`` (see ``file.checksum``). The
    insert trigger also stops ``INSERT OR REPLACE``, which would remove the old row before any delete trigger runs.
    """
    for statement in (
        """CREATE TABLE entry (
            seq INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            act TEXT NOT NULL,
            kind TEXT NOT NULL,
            about TEXT NOT NULL,
            happened TEXT NOT NULL,
            body TEXT NOT NULL,
            crc32 INTEGER NOT NULL
        ) STRICT""",
        "CREATE INDEX entry_about ON entry (about, happened)",
        "CREATE INDEX entry_kind ON entry (kind, happened, about, act)",
        """CREATE TRIGGER entry_kept_on_insert BEFORE INSERT ON entry
            WHEN EXISTS (SELECT 1 FROM entry WHERE id = NEW.id OR seq = NEW.seq)
            BEGIN SELECT RAISE(ABORT, 'the journal only grows: this entry is already in it'); END""",
        """CREATE TRIGGER entry_kept_on_update BEFORE UPDATE ON entry
            BEGIN SELECT RAISE(ABORT, 'the journal only grows: entries are never changed'); END""",
        """CREATE TRIGGER entry_kept_on_delete BEFORE DELETE ON entry
            BEGIN SELECT RAISE(ABORT, 'the journal only grows: entries are never removed'); END""",
    ):
        connection.execute(statement)


STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_first,)
"""One step per version: step n brings a journal from version n to n + 1."""

VERSION = len(STEPS)


class Header(NamedTuple):
    """What the first bytes of a file say without opening it as a database. version 0: a new or empty file."""

    version: int


def read_header(path: Path) -> Header:
    """Look at a file without touching it. Raises Unusable where it is not a journal this program can read."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        return Header(0)
    except OSError as error:
        raise Unusable(f"The journal {path} cannot be read: {error.strerror}.") from None
    if not head:
        return Header(0)
    if len(head) < 100 or not head.startswith(_MAGIC):
        raise Unusable(f"{path} is not a pupawatch journal and was left untouched; name another file with --journal.")
    version = int.from_bytes(head[60:64], "big")
    application = int.from_bytes(head[68:72], "big")
    if application != APPLICATION_ID:
        raise Unusable(
            f"{path} is a database of another program and was left untouched; name another file with --journal."
        )
    if version > VERSION:
        raise Unusable(
            f"{path} was written by a newer pupawatch (format {version}, this one knows {VERSION}) and was left "
            "untouched; update pupawatch to open it."
        )
    return Header(version)


def migrate(connection: sqlite3.Connection, version: int) -> None:
    """Bring the journal from ``version`` to ``VERSION``, each step in a transaction of its own."""
    for number, step in enumerate(STEPS[version:], start=version + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Somebody else may have done this step while we waited for the lock.
            if connection.execute("PRAGMA user_version").fetchone()[0] < number:
                step(connection)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
