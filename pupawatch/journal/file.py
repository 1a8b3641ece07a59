"""The SQLite file in which the journal is kept. It only grows, and a written entry survives a kill at any instant."""

import glob
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import date
from pathlib import Path

from pupawatch.errors import Damaged, PupawatchError, Unusable
from pupawatch.journal import address, backup, leftovers, log, schema, tiers
from pupawatch.journal.questions import Questions, Row
from pupawatch.model.entries import Entry, kind_of, written
from pupawatch.model.times import iso_exact

_LARGE_BYTES = 16_000_000
"""About five seasons; to look through as much takes some 50 ms."""
_LOG_PAGES, _LARGE_LOG_BYTES = 100, 2_000_000
"""From so many pages on SQLite brings the log into the file; from so many bytes on it is cut short after a write. What
a kill leaves of it is added up at the next start."""
_NOTHING_WRITTEN = ("SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_BUSY", "SQLITE_BUSY_SNAPSHOT", "SQLITE_READONLY")
"""With these SQLite fails before the last page of a write stands in the log: it counts only with that one."""


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
        self._is_swept = False
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
        if self._connection is None and self._file == (0, 0) and schema.look(self.path):  # begun by another meanwhile
            self._open()
        if self._connection is None:
            return 0
        self._check_in_place()
        if self._shelved is not None:  # SQLite was told that it does not change; its owner may change it elsewhere
            if address.age(self.path) != self._shelved or not address.is_shelved(self.path):
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
        raises. Before the first write of a day (``today``, the keeper's) a dated copy is made, and before a journal of
        an older format is brought up to date a copy of that; where ``today`` is None, none.
        beside_newer: also into a journal that holds entries of a newer version, which is refused otherwise.
        """
        if self._connection is None:
            self._begin()
        connection = self._connection
        assert connection is not None
        with self._reported():
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute(f"PRAGMA wal_autocheckpoint = {_LOG_PAGES}")
            _write_ahead(connection)
            if today is not None:
                self._sweep()
                self._copy_of_the_format(connection)
                self._copy_of_the_day(connection, today)
            connection.execute("BEGIN IMMEDIATE")
            try:
                self._check_in_place()
                if not beside_newer:
                    self.refuse_newer()
                migrated = schema.migrate(connection)
                yield self._append
                self._commit(connection)
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
        if migrated or address.age(log.of(self.path))[1] > _LARGE_LOG_BYTES:
            _empty_log(connection)

    def _commit(self, connection: sqlite3.Connection) -> None:
        """Have it all on disk. Raises Unusable where that may or may not be so, a sqlite3 error where it is not."""
        try:
            connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname in _NOTHING_WRITTEN:
                raise
            raise Unusable(
                f"The disk of the journal {self.path} failed at the last moment ({error}). This entry may or may not "
                "be saved; check before you enter it again."
            ) from None

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
            raise Unusable(f"There is no journal at {self.path} to back up yet; the first entry creates it.")
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

    def _sweep(self) -> None:
        """Remove what kills left of earlier programs, once."""
        if not self._is_swept:
            leftovers.sweep(self.path, backup.folder_of(self.path))
            self._is_swept = True

    def _copy_of_the_format(self, connection: sqlite3.Connection) -> None:
        """Keep a journal of an older format before it is brought up to date. Raises Unusable where it cannot."""
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version < schema.VERSION:
            older = f"{self.path.stem}-format-{version}{self.path.suffix}"
            backup.copy(connection, backup.folder_of(self.path) / older)

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
        """Open the file that is there. Where nothing stands in it after all it is let go of: a kill cut off its making,
        and SQLite has only now taken back what was made of it."""
        with self._reported():
            self._check_log()
            connection = address.connect(self.path)
            try:
                if self._settle(connection):
                    self._connection = connection
            finally:
                if self._connection is None:
                    connection.close()

    def _settle(self, connection: address.Connection) -> bool:
        """Take up an open file, once SQLite has read it and its log; says whether anything stands in it."""
        try:
            version = schema.version(connection, self.path)
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError:  # that it is damaged is told where it matters
            version = schema.VERSION
        self._file = connection.file
        self._shelved = address.age(self.path) if address.is_shelved(self.path) else None
        return version > 0

    def _begin(self) -> None:
        """Make the file of a new journal and open it. Where another program does so too, one of them does."""
        with self._reported():
            if not self._version():
                address.make_folder(self.path)
                with suppress(FileExistsError):
                    os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
            with closing(address.connect(self.path)) as connection:
                if not schema.version(connection, self.path):
                    connection.execute("BEGIN IMMEDIATE")
                    schema.migrate(connection)
                    connection.execute("COMMIT")
        self._open()

    def _version(self) -> int:
        """The format of the file, 0 where there is none yet. Raises Unusable where there was one and it is gone."""
        version = schema.look(self.path)
        held = version == 0 and self._held_elsewhere()
        if held:
            version = schema.look(self.path)  # another program may just have made it
        if held and version == 0:
            gone = "empty" if self.path.exists() else "gone"
            raise Unusable(
                f"The journal {self.path} is {gone}, but {held}. `pupawatch restore` restores what they hold; to "
                "start a new journal, move them away first."
            )
        return version

    def _held_elsewhere(self) -> str:
        """What is left of a journal whose file is gone, "" where nothing is."""
        if address.age(log.of(self.path))[1]:
            return f"the log beside it, {log.of(self.path).name}, still holds entries"
        copies = backup.folder_of(self.path)
        if next(copies.glob(f"{glob.escape(self.path.stem)}-*{self.path.suffix}"), None):
            return f"there are backups of it in {copies}"
        return ""

    def _check_log(self) -> None:
        """Raise Unusable where SQLite would pass over writes that stand in the log beside the file; nothing is touched.

        A write that is cut off says so by itself, and so does what a program is just writing.
        """
        if problem := log.problem(self.path):
            raise Unusable(
                f"{problem} {self.path} was left untouched; `pupawatch restore` restores everything still readable."
            )

    def _check_in_place(self) -> None:
        """Raise Unusable where the open file is no longer the one of that name: what it would get, nobody would find.

        What stands in the open file is then written to a copy, once.
        """
        if self._gone:
            raise Unusable(self._gone)
        try:
            if address.identity(self.path) == self._file:
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
            "Leave pupawatch before you continue."
        )
        raise Unusable(self._gone)


def _empty_log(connection: sqlite3.Connection) -> None:
    """Bring what stands in the log into the file, so that its header names the version and a start is quick.

    Nobody is waited for: what others keep from being done now is done at one of the next writes.
    """
    with suppress(sqlite3.Error):
        connection.execute("PRAGMA busy_timeout = 0")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.execute(f"PRAGMA busy_timeout = {address.WAIT_SECONDS * 1000:.0f}")


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Use a write-ahead log, which a new file and a restored copy do not have yet.

    A new file gets it only once its tables stand: until then it is empty, so that no kill and no other program that
    looks at it meets half a journal. Where another program is writing just now, the next act will do.
    """
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        with suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode = WAL")


def _row(entry: Entry) -> Row:
    return entry.id, entry.act, kind_of(entry), entry.about, iso_exact(entry.happened), written(entry)
