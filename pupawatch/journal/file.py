"""The SQLite file in which the journal is kept. It only grows, and a written entry survives a kill at any instant."""

import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import date, datetime
from pathlib import Path

from msgspec import DecodeError

from pupawatch.errors import PupawatchError, Unusable
from pupawatch.journal import backup, log, schema, tiers
from pupawatch.model.entries import Entry, Found, Hanging, decode_many, encode, kind_of
from pupawatch.model.times import iso_exact

_WAIT_SECONDS = 10.0
_LARGE_BYTES = 16_000_000
"""About five seasons; to look through as much takes some 50 ms."""

Row = tuple[str, str, str, str, str, str]
"""An entry as it lies in the file: id, act, kind, about, happened, body (see ``schema``)."""

# The acts somebody took back. An act counts as perhaps alive again where the retraction was itself taken back, so
# queries that leave something out only ever leave out what nobody ever doubted.
_DOUBTED = "SELECT about FROM entry WHERE kind = 'retraction'"


def default_path() -> Path:
    """The journal that is used unless another is named: in the platform's data folder."""
    import platformdirs

    return Path(platformdirs.user_data_dir("pupawatch", appauthor=False)) / "journal.db"


class Journal:
    """An open journal. A file that does not exist yet reads as empty and is made by the first write."""

    def __init__(self, path: Path) -> None:
        """Look at the file; raise Unusable, without touching it, where it is foreign, newer or cannot be read."""
        if sqlite3.sqlite_version_info < (3, 37):
            raise Unusable(f"This Python carries SQLite {sqlite3.sqlite_version}; pupawatch needs 3.37 or newer.")
        self.path = path
        self.copy_problem = ""
        """Why today's copy could not be made, "" where it was; shown, but no reason not to write."""
        self._connection: sqlite3.Connection | None = None
        self._file = (0, 0)
        self._gone = ""
        if self._version():
            self._open()

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    # -- reading

    def read(self, where: str = "1", values: Iterable[object] = ()) -> Iterator[Sequence[Entry]]:
        """Every entry that fits an SQL condition, in the order of writing, a few thousand at a time."""
        for rows in self.rows(where, values):
            try:
                yield decode_many("[" + ",".join([row[5] for row in rows]) + "]")
            except DecodeError as error:
                raise Unusable(f"An entry of {self.path} cannot be read ({error}); run `pupawatch check`.") from None

    def rows(self, where: str = "1", values: Iterable[object] = ()) -> Iterator[Sequence[Row]]:
        """The same entries as they lie in the file."""
        if self._connection is None:
            return
        with self._reported():
            # No entry is trusted unread: a flipped bit is found here, not shown as an answer.
            query = f"SELECT seq, {schema.COLUMNS} FROM entry WHERE {where} ORDER BY seq"
            cursor = self._connection.execute(query, tuple(values))
            while rows := cursor.fetchmany(5000):
                for seq, *columns, crc in rows:
                    if not schema.adds_up(columns, crc):
                        raise Unusable(f"Entry {seq} of {self.path} is damaged; run `pupawatch check`.")
                yield [tuple(row[1:7]) for row in rows]

    def read_all(self) -> Iterator[Sequence[Entry]]:
        """Every entry."""
        return self.read()

    def read_current(self, finished_before: datetime, by: datetime | None = None) -> Iterator[Sequence[Entry]]:
        """What a round needs: all about the pupae not finished before that instant, and the adults kept since, the
        newest look at each place, and every retraction. Of ten seasons this reads one morning. by: only looks until
        then count as newest."""
        # Written so that SQLite answers from the indexes alone and fetches only the rows that are wanted.
        ended = (
            "SELECT about FROM entry WHERE kind IN ('emerged', 'lost', 'released') AND happened < ?"
            f" AND act NOT IN ({_DOUBTED})"
        )
        current = (
            f"SELECT about FROM (SELECT about FROM entry WHERE kind IN ('found', 'hanging') EXCEPT {ended})"
            " UNION SELECT about FROM entry WHERE kind = 'kept'"
        )
        newest = (
            "SELECT about, max(happened) FROM entry WHERE kind = 'looked' AND happened <= ?"
            f" AND act NOT IN ({_DOUBTED}) GROUP BY about"
        )
        return self.read(
            f"seq IN (SELECT seq FROM entry WHERE kind NOT IN ('looked', 'retraction') AND about IN ({current})"
            " UNION SELECT seq FROM entry WHERE kind = 'retraction'"
            f" UNION SELECT seq FROM entry WHERE kind = 'looked' AND (about, happened) IN ({newest})"
            f" UNION SELECT seq FROM entry WHERE kind = 'looked' AND act IN ({_DOUBTED}))",
            (iso_exact(finished_before), iso_exact(by) if by else "9999"),
        )

    def read_labelled(self, label: str) -> Iterator[Sequence[Entry]]:
        """All about every pupa that ever carried this label, in any case of letters, and every retraction."""
        # Asked of the entries as they are read, not of SQLite: damage in one must not pass for a label nobody has.
        named = {
            entry.pupa
            for entries in self.read("kind IN ('found', 'hanging')")
            for entry in entries
            if isinstance(entry, Found | Hanging) and entry.label.casefold() == label.casefold()
        }
        return self.read("about IN (SELECT value FROM json_each(?)) OR kind = 'retraction'", (json.dumps([*named]),))

    def read_looks(self, places: Iterable[str], since: datetime | None = None) -> Iterator[Sequence[Entry]]:
        """Every look at these places, from ``since`` on."""
        names = tuple(places)
        return self.read(
            f"kind = 'looked' AND happened >= ? AND about IN ({', '.join('?' * len(names))})",
            (iso_exact(since) if since else "", *names),
        )

    def known(self, ids: Iterable[str]) -> dict[str, str]:
        """Those of these entry ids that the journal already holds, with the act each belongs to."""
        held: dict[str, str] = {}
        if self._connection is None:
            return held
        wanted = list(ids)
        with self._reported():
            for start in range(0, len(wanted), 900):
                some = wanted[start : start + 900]
                query = f"SELECT id, act FROM entry WHERE id IN ({', '.join('?' * len(some))})"
                held.update(self._connection.execute(query, some))
        return held

    def bodies(self, ids: Iterable[str]) -> dict[str, str]:
        """Those of these entry ids that the journal already holds, with the entry as it lies there."""
        held: dict[str, str] = {}
        if self._connection is None:
            return held
        wanted = json.dumps(list(ids))
        for rows in self.rows("id IN (SELECT value FROM json_each(?))", (wanted,)):
            held.update((row[0], row[5]) for row in rows)
        return held

    def newest_first(self) -> Iterator[tuple[str, bool]]:
        """The acts, the newest written first: the id, and whether it is a retraction. An act may come repeatedly."""
        if self._connection is None:
            return
        with self._reported():
            for act, kind in self._connection.execute("SELECT act, kind FROM entry ORDER BY seq DESC"):
                yield act, kind == "retraction"

    def read_act(self, act: str) -> Iterator[Sequence[Entry]]:
        """The entries of this act."""
        return self.read("act = ?", (act,))

    def read_since(self, seq: int) -> Iterator[Sequence[Entry]]:
        """What was written after entry number ``seq``."""
        return self.read("seq > ?", (seq,))

    def changes(self) -> int:
        """A number that is another one whenever another process has written. Raises Unusable where the file is gone."""
        if self._connection is None:
            return 0
        self._check_in_place()
        with self._reported():
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0])

    def last(self) -> int:
        """The number of the newest entry; 0 in an empty journal."""
        if self._connection is None:
            return 0
        with self._reported():
            return int(self._connection.execute("SELECT coalesce(max(seq), 0) FROM entry").fetchone()[0])

    def readings(self, sensor: str, since: float, until: float) -> tuple[list[int], list[float]]:
        """A sensor's readings between two POSIX seconds: seconds and °C, in order of time.

        Where files tell a second differently the lowest value counts, whichever came first.
        """
        read: dict[int, float] = {}
        if self._connection is not None:
            with self._reported():
                query = "SELECT at, celsius, crc32 FROM reading WHERE sensor = ? AND at BETWEEN ? AND ?"
                rows = self._connection.execute(f"{query} ORDER BY at, celsius", (sensor, int(since), int(until)))
                for at, celsius, crc in rows:
                    if not schema.reading_adds_up(sensor, at, celsius, crc):
                        raise Unusable(f"A reading of {self.path} is damaged; run `pupawatch check`.")
                    read.setdefault(at, celsius)
        return list(read), list(read.values())

    def every_reading(self) -> Iterator[tuple[str, int, float]]:
        """Every reading of every sensor, also where one second is told differently."""
        if self._connection is None:
            return
        with self._reported():
            for sensor, at, celsius, crc in self._connection.execute("SELECT sensor, at, celsius, crc32 FROM reading"):
                if not schema.reading_adds_up(sensor, at, celsius, crc):
                    raise Unusable(f"A reading of {self.path} is damaged; run `pupawatch check`.")
                yield sensor, at, celsius

    def disputed_readings(self) -> int:
        """How many seconds of a sensor are told differently."""
        if self._connection is None:
            return 0
        with self._reported():
            query = "SELECT count(*) FROM (SELECT 1 FROM reading GROUP BY sensor, at HAVING count(*) > 1)"
            return int(self._connection.execute(query).fetchone()[0])

    def sensors(self) -> list[tuple[str, int, int, int]]:
        """Every sensor: its name, how many readings it has, the first and the last POSIX second."""
        if self._connection is None:
            return []
        with self._reported():
            query = "SELECT sensor, count(*), min(at), max(at) FROM reading GROUP BY sensor ORDER BY sensor"
            return self._connection.execute(query).fetchall()

    def forecast_basis(self, by: datetime) -> tuple[object, ...]:
        """What the forecasts rest on beside the pupae in care; it is another one when that has changed."""
        if self._connection is None:
            return ()
        kinds = "('emerged', 'measured', 'tied', 'retraction')"
        with self._reported():
            query = f"SELECT count(*), max(seq) FROM entry WHERE kind IN {kinds} AND happened <= ?"
            entries = self._connection.execute(query, (iso_exact(by),)).fetchone()
            return (*entries, *self._connection.execute("SELECT count(*), max(at) FROM reading").fetchone())

    def read_emerged(self, most: int, by: datetime) -> Iterator[Sequence[Entry]]:
        """All about the pupae of the newest emergences by that instant, and every retraction."""
        newest = "SELECT about FROM entry WHERE kind = 'emerged' AND happened <= ? ORDER BY happened DESC LIMIT ?"
        return self.read(
            f"(kind NOT IN ('looked', 'retraction') AND about IN ({newest})) OR kind = 'retraction'",
            (iso_exact(by), most),
        )

    def read_ended(self, most: int, by: datetime) -> Iterator[Sequence[Entry]]:
        """Where the pupae of the newest ends by that instant (wings judged, or lost) hung and how they did, and every
        retraction."""
        ends = " UNION ALL ".join(
            "SELECT * FROM (SELECT about, happened FROM entry WHERE kind = ? AND happened <= ?"
            " ORDER BY happened DESC LIMIT ?)"
            for _ in range(2)
        )
        newest = f"SELECT about FROM ({ends}) ORDER BY happened DESC LIMIT ?"
        told = "('hanging', 'found', 'moved', 'emerged', 'wings', 'lost')"
        until = iso_exact(by)
        return self.read(
            # The + keeps SQLite from going through all entries of these kinds instead of those pupae's.
            f"seq IN (SELECT seq FROM entry WHERE about IN ({newest}) AND +kind IN {told}"
            " UNION ALL SELECT seq FROM entry WHERE kind = 'retraction')",
            ("wings", until, most, "lost", until, most, most),
        )

    def newest_id(self) -> str:
        """The greatest entry id; "" in an empty journal."""
        if self._connection is None:
            return ""
        with self._reported():
            return str(self._connection.execute("SELECT coalesce(max(id), '') FROM entry").fetchone()[0])

    # -- writing

    @contextmanager
    def writing(self, today: date | None) -> Iterator[Callable[[Iterable[Entry]], None]]:
        """Hold the journal alone: what is read inside is true until what is appended there is written.

        Gives a function that appends entries. All of them are on disk when the block is left, or none if it
        raises. Before the first write of a day (``today``, the keeper's; None: of none) a dated copy is made.
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
                yield lambda entries: self.append_rows(_row(entry) for entry in entries)
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
        with self._reported(), closing(self._connect()) as connection:  # its own: another thread may ask
            problems = schema.structure_problems(connection)
        if problems:
            raise Unusable(f"The journal {self.path} is damaged; run `pupawatch check`. {problems[0]}")

    def append_rows(self, rows: Iterable[Row]) -> None:
        """Append entries as they lie in a file, inside ``writing``; for entries use what ``writing`` gives."""
        assert self._connection is not None
        self._connection.executemany(
            f"INSERT INTO entry ({schema.COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)",
            ((*row, schema.checksum(*row)) for row in rows),
        )

    def _copy_of_the_day(self, connection: sqlite3.Connection, today: date) -> None:
        target = backup.dated(self.path, today)
        if target.exists() or not self.last():
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
            connection = self._connect()
            try:
                if version < schema.VERSION:
                    if version:
                        older = f"{self.path.stem}-format-{version}{self.path.suffix}"
                        backup.copy(connection, backup.folder_of(self.path) / older)
                    schema.migrate(connection, version)
                    connection.execute("PRAGMA wal_checkpoint")  # so that the file's own header names its version
                self._file = _identity(self.path)
            except BaseException:
                connection.close()
                raise
            self._connection = connection

    def _version(self) -> int:
        """The format of the file, 0 where there is none yet. Raises Unusable where only its log is there."""
        version = schema.read_header(self.path).version
        if version == 0 and next(log.frames(self.path), None):
            version = schema.read_header(self.path).version  # another program may just have made it
            if version == 0:
                raise Unusable(
                    f"The journal {self.path} is gone, but the log beside it, {log.of(self.path).name}, still holds "
                    "entries. Put the file back, or let `pupawatch restore` bring back a copy and what the log holds."
                )
        return version

    def _check_log(self) -> None:
        """Raise Unusable where SQLite would pass over writes that stand in the log beside the file; nothing is touched.

        Looked at through a connection that only reads: such a one leaves the log there when it is closed, and as long
        as it is open so does any other.
        """
        with closing(self._connect("ro")) as reading:
            with suppress(sqlite3.Error):  # what is wrong with the file is told where it matters
                reading.execute("SELECT max(seq) FROM entry").fetchone()  # only now SQLite reads the log
            if not log.problem(self.path):
                return
            with closing(self._connect()) as writing:
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
        if self._connection is not None and self._connection.in_transaction:
            self._connection.execute("ROLLBACK")  # a copy would wait for ever for this very act to end
        try:
            if self._connection is not None and self._connection.in_transaction:
                self._connection.execute("ROLLBACK")  # SQLite copies nothing in the middle of a write
            saved = backup.copy_beside(self._connection, self.path, "rescued")
            kept = f"All that was in it is saved in {saved}; `pupawatch restore` puts that back."
        except (PupawatchError, sqlite3.Error) as error:
            kept = str(error)
        self._gone = (
            f"The journal {self.path} was {what} while it was open here. Nothing was written. {kept} "
            "Leave pupawatch before you go on."
        )
        raise Unusable(self._gone)

    def _connect(self, mode: str = "rw") -> sqlite3.Connection:
        where = f"{self.path.absolute().as_uri()}?mode={mode}"
        return sqlite3.connect(where, uri=True, timeout=_WAIT_SECONDS, isolation_level=None, check_same_thread=False)

    @contextmanager
    def _reported(self) -> Iterator[None]:
        """Turn what SQLite and the disk report into one sentence with a way on."""
        try:
            yield
        except sqlite3.OperationalError as error:
            raise Unusable(_worded(self.path, str(error))) from None
        except sqlite3.DatabaseError as error:
            raise Unusable(f"The journal {self.path} is damaged ({error}); run `pupawatch check`.") from None
        except OSError as error:
            raise Unusable(f"The journal {self.path} cannot be used: {error.strerror}. Nothing was written.") from None


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
    return entry.id, entry.act, kind_of(entry), entry.about, iso_exact(entry.happened), encode(entry).decode()


def _worded(path: Path, error: str) -> str:
    if "readonly" in error or "unable to open" in error:
        return f"The journal {path} cannot be written: the file or its folder is read-only. Nothing was written."
    if "full" in error or "disk I/O" in error:
        return f"The journal {path} cannot be written: the disk is full or failing ({error}). Nothing was written."
    if "decode" in error:
        return f"The journal {path} is damaged ({error}); run `pupawatch check`."
    if "locked" in error or "busy" in error:
        return (
            f"The journal {path} was held by another program for {_WAIT_SECONDS:.0f} s. Nothing was written; try again."
        )
    return f"The journal {path} cannot be used ({error}). Nothing was written."
