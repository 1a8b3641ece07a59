"""The SQLite file in which the journal is kept. It only grows, and a written entry survives a kill at any instant."""

import glob
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import date
from pathlib import Path

from pupawatch.errors import Damaged, PupawatchError, Unusable
from pupawatch.journal import address, backup, log, schema, tiers
from pupawatch.journal.questions import Questions, Row
from pupawatch.model.entries import Entry, kind_of, written
from pupawatch.model.times import iso_exact

_LARGE_BYTES = 16_000_000
"""About five seasons; to look through as much takes some 50 ms."""


def default_path() -> Path:
    """The journal that is used unless another is named: in the platform's data folder."""
    import platformdirs

    return Path(platformdirs.user_data_dir("pupawatch", appauthor=False)) / "journal.db"


class Journal(Questions):
    """An open journal. A file that does not exist yet reads as empty and is made by the first write."""

    def __init__(self, path: Path) -> None:
        """Look at the file; raise Unusable, without touching it, where it is foreign, newer or cannot be read."""
        if sqlite3.sqlite_version_info < (3, 37):
            raise Unusable(f"This Python carries SQLite {sqlite3.sqlite_version}; pupawatch needs 3.37 or newer.")
        self.path = address.real(path)
        self.copy_problem = ""
        """Why today's copy could not be made, "" where it was; shown, but no reason not to write."""
        self._connection: sqlite3.Connection | None = None
        self._file = (0, 0)
        self._shelved: tuple[int, int] | None = None
        self._gone = ""
        self.newer = set()
        if self._version():
            self._open()

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def changes(self) -> int:
        """A number that is another one whenever another process has written. Raises Unusable where the file is gone."""
        if self._connection is None:
            return 0
        self._check_in_place()
        if self._shelved is not None:  # SQLite was told that it does not change; its owner may change it elsewhere
            if _age(self.path) != self._shelved or not address.is_shelved(self.path):
                self.close()
                self._open()
            return hash(self._shelved)
        with self._reported():
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0])

    # -- writing

    @contextmanager
    def writing(self, today: date | None, beside_newer: bool = False) -> Iterator[Callable[[Iterable[Entry]], None]]:
        """Hold the journal alone: what is read inside is true until what is appended there is written.

        Gives a function that appends entries. All of them are on disk when the block is left, or none if it
        raises. Before the first write of a day (``today``, the keeper's; None: of none) a dated copy is made.
        beside_newer: also into a journal that holds entries of a newer version, which is refused otherwise.
        """
        if self._connection is None:
            self._open()
        connection = self._connection
        assert connection is not None
        with self._reported():
            connection.execute("PRAGMA synchronous = FULL")
            _write_ahead(connection)
            if today is not None:
                self._copy_of_the_day(connection, today)
            connection.execute("BEGIN IMMEDIATE")
            try:
                self._check_in_place()
                if not beside_newer:
                    self.refuse_newer()
                yield self._append
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    def add_readings(self, rows: Iterable[tuple[str, int, float]]) -> int:
        """Add readings (sensor, POSIX second, °C) inside ``writing``; those already there are passed over.

        Returns how many were new.
        """
        assert self._connection is not None
        before = self._connection.total_changes
        summed = ((*row, schema.reading_checksum(*row)) for row in rows)
        self._connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", summed)
        return self._connection.total_changes - before

    def copy_to(self, target: Path) -> Path:
        """Write a checked copy of the journal to ``target``."""
        if self._connection is None:
            raise Unusable(f"There is no journal at {self.path} to copy yet; it is made by the first entry.")
        return backup.copy(self._connection, target)

    def problems(self) -> list[str]:
        """What is damaged, a sentence each (see ``schema.problems``)."""
        if self._connection is None:
            return []
        with self._reported():
            return schema.problems(self._connection)

    @property
    def is_large(self) -> bool:
        """Whether ``verify`` takes longer than a keeper should wait for the first screen."""
        return self.path.exists() and self.path.stat().st_size > _LARGE_BYTES

    def verify(self) -> None:
        """Raise Unusable where the file's structure is damaged, so that a query might leave out what is there.

        Reading alone finds a damaged entry, but not one that a damaged page or index hides.
        """
        if self._connection is None:
            return
        with self._reported(), closing(address.connect(self.path)) as connection:  # its own: another thread may ask
            problems = schema.structure_problems(connection)
        if problems:
            raise Damaged(f"The journal {self.path} is damaged; run `pupawatch check`. {problems[0]}")

    def _append(self, entries: Iterable[Entry]) -> None:
        self.refuse_newer()  # once more: what was read meanwhile may have been newer
        self.append_rows(_row(entry) for entry in entries)

    def append_rows(self, rows: Iterable[Row]) -> None:
        """Append entries as they lie in a file, inside ``writing``; for entries use what ``writing`` gives."""
        assert self._connection is not None
        self._connection.executemany(
            f"INSERT INTO entry ({schema.COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)",
            ((*row, schema.checksum(*row)) for row in rows),
        )

    def _copy_of_the_day(self, connection: sqlite3.Connection, today: date) -> None:
        target = backup.dated(self.path, today)
        if (target.exists() and target.stat().st_size) or not self.last():
            return
        try:
            backup.copy(connection, target)
            tiers.prune(self.path)
            self.copy_problem = ""
        except PupawatchError as error:
            self.copy_problem = str(error)

    def _open(self) -> None:
        with self._reported():
            version = self._version()
            if version == 0:
                self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))
            else:
                self._check_log()
            connection = address.connect(self.path)
            try:
                if version < schema.VERSION:
                    if version:
                        older = f"{self.path.stem}-format-{version}{self.path.suffix}"
                        backup.copy(connection, backup.folder_of(self.path) / older)
                    schema.migrate(connection, version)
                    connection.execute("PRAGMA wal_checkpoint")  # so that the file's own header names its version
                self._file = _identity(self.path)
                self._shelved = _age(self.path) if address.is_shelved(self.path) else None
            except BaseException:
                connection.close()
                raise
            self._connection = connection

    def _version(self) -> int:
        """The format of the file, 0 where there is none yet. Raises Unusable where there was one and it is gone."""
        version = schema.read_header(self.path).version
        held = version == 0 and self._held_elsewhere()
        if held:
            version = schema.read_header(self.path).version  # another program may just have made it
        if held and version == 0:
            gone = "empty" if self.path.exists() else "gone"
            raise Unusable(
                f"The journal {self.path} is {gone}, but {held}. `pupawatch restore` brings back what they hold; to "
                "begin a new journal, move them away first."
            )
        return version

    def _held_elsewhere(self) -> str:
        """What is left of a journal whose file is gone, "" where nothing is."""
        if next(log.frames(self.path), None):
            return f"the log beside it, {log.of(self.path).name}, still holds entries"
        copies = backup.folder_of(self.path)
        if next(copies.glob(f"{glob.escape(self.path.stem)}-*{self.path.suffix}"), None):
            return f"there are copies of it in {copies}"
        return ""

    def _check_log(self) -> None:
        """Raise Unusable where SQLite would pass over writes that stand in the log beside the file; nothing is touched.

        Looked at through a connection that only reads: such a one leaves the log there when it is closed, and as long
        as it is open so does any other.
        """
        with closing(address.connect(self.path, "ro")) as reading:
            with suppress(sqlite3.Error):  # what is wrong with the file is told where it matters
                reading.execute("SELECT max(seq) FROM entry").fetchone()  # only now SQLite reads the log
            if not log.problem(self.path):
                return
            with closing(address.connect(self.path)) as writing:
                try:
                    writing.execute("BEGIN IMMEDIATE")  # so that nobody is in the middle of a write
                except sqlite3.OperationalError:
                    return
                except sqlite3.DatabaseError:
                    pass
                problem = log.problem(self.path)
        if problem:
            raise Unusable(
                f"{problem} {self.path} was left untouched; `pupawatch restore` brings back all that still reads."
            )

    def _check_in_place(self) -> None:
        """Raise Unusable where the open file is no longer the one of that name: what it would get, nobody would find.

        What stands in the open file is then written to a copy, once.
        """
        if self._gone:
            raise Unusable(self._gone)
        try:
            if _identity(self.path) == self._file:
                return
            what = "replaced by another file"
        except OSError:
            what = "deleted, moved away or cut off"
        try:
            if self._connection is not None and self._connection.in_transaction:
                self._connection.execute("ROLLBACK")  # a copy would wait for ever for this very act to end
            saved = backup.copy_beside(self._connection, self.path, "rescued")
            kept = f"All that was in it is saved in {saved}; `pupawatch restore` puts that back."
        except (PupawatchError, sqlite3.Error) as error:
            kept = str(error)
        self._gone = (
            f"The journal {self.path} was {what} while it was open here. Nothing was written. {kept} "
            "Leave pupawatch before you go on."
        )
        raise Unusable(self._gone)


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Use a write-ahead log, which a new file and a restored copy do not have yet.

    A new file gets it only once its tables stand: until then it is empty, so that no kill and no other program that
    looks at it meets half a journal. Where another program is writing just now, the next act will do.
    """
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        with suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode = WAL")


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino


def _row(entry: Entry) -> Row:
    return entry.id, entry.act, kind_of(entry), entry.about, iso_exact(entry.happened), written(entry)


def _age(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_mtime_ns, found.st_size
