"""The shape of a journal file and the steps that bring an older one up to date."""

import errno
import os
import sqlite3
import stat
import struct
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path

from pupawatch.errors import Unusable
from pupawatch.journal import address

APPLICATION_ID = 0x50555057  # "PUPW"
COLUMNS = "id, act, kind, about, happened, body, crc32"


def _first(connection: sqlite3.Connection) -> None:
    """Version 1: the entries, and the triggers that keep them.

    ``body`` is the whole entry as JSON; the columns before it are copies to search by. ``about`` is the pupa, the
    place or the act the entry is about. ``crc32`` covers every column but ``seq`` (see ``checksum``). The
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
        # A logger's readings are measurements, not acts: kept beside the entries. Two files (or two journals that
        # are united) may tell one second differently: both are kept, so that no order of arrival matters.
        """CREATE TABLE reading (
            sensor TEXT NOT NULL,
            at INTEGER NOT NULL,
            celsius REAL NOT NULL,
            crc32 INTEGER NOT NULL,
            PRIMARY KEY (sensor, at, celsius)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TRIGGER reading_known_on_insert BEFORE INSERT ON reading
            WHEN EXISTS (SELECT 1 FROM reading WHERE sensor = NEW.sensor AND at = NEW.at AND celsius = NEW.celsius)
            BEGIN SELECT RAISE(IGNORE); END""",
        """CREATE TRIGGER reading_kept_on_update BEFORE UPDATE ON reading
            BEGIN SELECT RAISE(ABORT, 'the journal only grows: readings are never changed'); END""",
        """CREATE TRIGGER reading_kept_on_delete BEFORE DELETE ON reading
            BEGIN SELECT RAISE(ABORT, 'the journal only grows: readings are never removed'); END""",
    ):
        connection.execute(statement)


def _second(connection: sqlite3.Connection) -> None:
    """Version 2: no table is another, but entries may be of kinds, and hold fields, that version 1 did not know.

    A program that knows version 1 alone would call them damage; by the version it refuses the file instead.
    """


STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_first, _second)
"""One step per version: step n brings a journal from version n to n + 1."""

VERSION = len(STEPS)


def look(path: Path) -> int:
    """The format that a file names at its beginning, 0 where there is no file yet or an empty one.

    The file is not touched, whatever it is. Raises Unusable where it is not a journal this program can read.
    """
    try:
        found = path.stat()
    except FileNotFoundError:
        return 0
    except OSError as error:
        raise Unusable(f"The journal {path} cannot be read: {error.strerror}.") from None
    if not stat.S_ISREG(found.st_mode):  # a pipe would keep whoever opens it waiting
        what = os.strerror(errno.EISDIR) if stat.S_ISDIR(found.st_mode) else "It is a device or a pipe"
        raise Unusable(f"The journal {path} cannot be read: {what}. Name a file with --journal.")
    try:
        with closing(address.connect(path, "immutable")) as connection:
            connection.execute("PRAGMA writable_schema = ON")  # so that a file that was cut short tells it too
            return version(connection, path)
    except sqlite3.OperationalError as error:
        raise Unusable(f"The journal {path} cannot be read ({error}); is it yours to read?") from None
    except sqlite3.DatabaseError:
        raise Unusable(
            f"{path} is not a pupawatch journal, or is damaged at its beginning, and was left untouched; name another "
            "file with --journal, or bring back a copy with `pupawatch restore`."
        ) from None


def version(connection: sqlite3.Connection, path: Path) -> int:
    """The format of an open file, 0 where nothing stands in it yet. Raises Unusable as ``look`` does."""
    pages, application, named = (
        connection.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "application_id", "user_version")
    )
    if not pages:
        return 0
    if application != APPLICATION_ID:
        raise Unusable(
            f"{path} is a database of another program and was left untouched; name another file with --journal."
        )
    if named <= 0:
        raise Unusable(f"{path} is damaged: its format is missing. It was left untouched; run `pupawatch check`.")
    if named > VERSION:
        raise Unusable(
            f"{path} was written by a newer pupawatch (format {named}, this one knows {VERSION}) and was left "
            "untouched; update pupawatch to open it."
        )
    return int(named)


def checksum(*columns: str) -> int:
    """The CRC-32 (as in ISO 3309, by zlib) of an entry's columns."""
    return zlib.crc32("\x1f".join(columns).encode())


def adds_up(columns: Sequence[object], crc: object) -> bool:
    """Whether an entry's columns, as text or as its bytes, are what was written; damage may have made them anything."""
    try:
        return zlib.crc32(b"\x1f".join(one if isinstance(one, bytes) else one.encode() for one in columns)) == crc  # type: ignore[attr-defined]
    except (AttributeError, UnicodeError):
        return False


def reading_checksum(sensor: str | bytes, at: int, celsius: float) -> int:
    """The CRC-32 of a reading: of the sensor's name, then the second and the value as they lie in memory."""
    name = sensor if isinstance(sensor, bytes) else sensor.encode()
    return zlib.crc32(struct.pack("<qd", at, celsius), zlib.crc32(name))


def reading_adds_up(sensor: object, at: object, celsius: object, crc: object) -> bool:
    """Whether a reading is what was written; damage may have made it anything."""
    try:
        return reading_checksum(sensor, at, celsius) == crc  # type: ignore[arg-type]
    except (AttributeError, UnicodeError, struct.error):
        return False


def problems(connection: sqlite3.Connection) -> list[str]:
    """What is damaged, a sentence each: in the file's structure, and every entry and reading against its checksum.

    Raises sqlite3.OperationalError where the file cannot be looked at, as in a folder that is read-only.
    """
    return [*structure_problems(connection), *_among(connection, _content_problems)]


def structure_problems(connection: sqlite3.Connection) -> list[str]:
    """What is damaged beside the content: pages and indexes by SQLite's own check, tables and triggers by their text.

    Where this finds nothing, no query leaves out an entry that is there. Raises as ``problems`` does.
    """
    return _among(connection, _structure_problems)


def _among(
    connection: sqlite3.Connection, look: Callable[[sqlite3.Connection], Iterator[str]], most: int = 20
) -> list[str]:
    found: list[str] = []
    try:
        for problem in look(connection):
            if len(found) == most:
                return [*found, "More is damaged than is listed here."]
            found.append(problem)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError) and "decode" not in str(error):
            raise
        found.append(f"The file is damaged: {error}.")
    return found


def _structure_problems(connection: sqlite3.Connection) -> Iterator[str]:
    for (verdict,) in connection.execute("PRAGMA integrity_check(20)"):
        for line in verdict.splitlines():
            if line != "ok" and not line.startswith("***"):  # a heading
                yield f"The file is damaged: {line}."
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if _shape(connection) != _intended_shape(version):
        yield "The file is damaged: its tables, indexes and triggers are not those of a journal."


def _content_problems(connection: sqlite3.Connection) -> Iterator[str]:
    *texts, crc32 = COLUMNS.split(", ")
    as_bytes = ", ".join(f"CAST({name} AS BLOB)" for name in texts)  # a flipped bit may leave no text
    for seq, *columns, crc in connection.execute(f"SELECT seq, {as_bytes}, {crc32} FROM entry ORDER BY seq"):
        if not adds_up(columns, crc):
            yield f"Entry {seq} is damaged: it does not match its checksum."
    readings = connection.execute("SELECT CAST(sensor AS BLOB), at, celsius, crc32 FROM reading")
    for sensor, at, celsius, crc in readings:
        if not reading_adds_up(sensor, at, celsius, crc):
            yield f"A reading is damaged: that of second {at} does not match its checksum."


def _shape(connection: sqlite3.Connection) -> list[tuple[str, ...]]:
    return connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name").fetchall()


def _intended_shape(version: int) -> list[tuple[str, ...]]:
    with closing(sqlite3.connect(":memory:")) as made:
        for step in STEPS[:version]:
            step(made)
        return _shape(made)


def migrate(connection: sqlite3.Connection) -> bool:
    """Bring the journal to ``VERSION``, inside a transaction; says whether that was any work."""
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    for step in STEPS[version:]:
        step(connection)
    if version < VERSION:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
    return bool(version < VERSION)
