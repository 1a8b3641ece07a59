"""The SQLite file in which the journal is kept. It only grows, and a written entry survives a kill at any instant."""

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from pathlib import Path

from msgspec import DecodeError

from pupawatch.errors import PupawatchError, Unusable
from pupawatch.journal import backup, schema
from pupawatch.model.entries import Entry, decode_many, encode, kind_of
from pupawatch.model.times import iso_exact

_WAIT_SECONDS = 10.0

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
        if schema.read_header(path).version:
            self._open()

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    # -- reading

    def read(self, where: str = "1", values: Iterable[object] = ()) -> Iterator[Sequence[Entry]]:
        """Every entry that fits an SQL condition, in the order of writing, a few thousand at a time."""
        if self._connection is None:
            return
        with self._reported():
            # No entry is trusted unread: a flipped bit is found here, not shown as an answer.
            query = f"SELECT seq, {schema.COLUMNS} FROM entry WHERE {where} ORDER BY seq"
            cursor = self._connection.execute(query, tuple(values))
            while rows := cursor.fetchmany(5000):
                for seq, *columns, crc in rows:
                    if schema.checksum(*columns) != crc:
                        raise Unusable(f"Entry {seq} of {self.path} is damaged; run `pupawatch check`.")
                try:
                    yield decode_many("[" + ",".join([row[6] for row in rows]) + "]")
                except DecodeError as error:
                    raise Unusable(
                        f"An entry of {self.path} cannot be read ({error}); run `pupawatch check`."
                    ) from None

    def read_all(self) -> Iterator[Sequence[Entry]]:
        """Every entry."""
        return self.read()

    def read_current(self, finished_before: datetime, by: datetime | None = None) -> Iterator[Sequence[Entry]]:
        """What a round needs: all about the pupae not finished before that instant, the newest look at each place,
        and every retraction. Of ten seasons this reads one morning. by: only looks until then count as newest."""
        # Written so that SQLite answers from the indexes alone and fetches only the rows that are wanted.
        ended = (
            "SELECT about FROM entry WHERE kind IN ('emerged', 'lost', 'released') AND happened < ?"
            f" AND act NOT IN ({_DOUBTED})"
        )
        current = f"SELECT about FROM entry WHERE kind IN ('found', 'hanging') EXCEPT {ended}"
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
        named = (
            "SELECT about FROM entry WHERE kind IN ('found', 'hanging')"
            " AND casefold(json_extract(body, '$.label')) = casefold(?)"
        )
        # What came from a command line may hold bytes that are no text, and no label either.
        text = label.encode(errors="replace").decode()
        return self.read(f"about IN ({named}) OR kind = 'retraction'", (text,))

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
        """A number that is another one whenever another process has written."""
        if self._connection is None:
            return 0
        with self._reported():
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0])

    def last(self) -> int:
        """The number of the newest entry; 0 in an empty journal."""
        if self._connection is None:
            return 0
        with self._reported():
            return int(self._connection.execute("SELECT coalesce(max(seq), 0) FROM entry").fetchone()[0])

    def readings(self, sensor: str, since: float, until: float) -> tuple[list[int], list[float]]:
        """A sensor's readings between two POSIX seconds: seconds and °C, in order of time."""
        if self._connection is None:
            return [], []
        with self._reported():
            query = "SELECT at, celsius FROM reading WHERE sensor = ? AND at BETWEEN ? AND ? ORDER BY at"
            rows = self._connection.execute(query, (sensor, int(since), int(until))).fetchall()
        return [at for at, _ in rows], [celsius for _, celsius in rows]

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
            f"(kind IN {told} AND about IN ({newest})) OR kind = 'retraction'",
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
    def writing(self, today: date) -> Iterator[Callable[[Iterable[Entry]], None]]:
        """Hold the journal alone: what is read inside is true until what is appended there is written.

        Gives a function that appends entries. All of them are on disk when the block is left, or none if it
        raises. Before the first write of a day (``today``, the keeper's) a dated copy is made.
        """
        if self._connection is None:
            self._open()
        connection = self._connection
        assert connection is not None
        with self._reported():
            connection.execute("PRAGMA synchronous = FULL")
            _write_ahead(connection)
            self._copy_of_the_day(connection, today)
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield lambda entries: self._append(connection, entries)
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
        self._connection.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", rows)
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

    def _append(self, connection: sqlite3.Connection, entries: Iterable[Entry]) -> None:
        connection.executemany(
            f"INSERT INTO entry ({schema.COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", (_row(entry) for entry in entries)
        )

    def _copy_of_the_day(self, connection: sqlite3.Connection, today: date) -> None:
        target = backup.dated(self.path, today)
        if target.exists() or not self.last():
            return
        try:
            backup.copy(connection, target)
            self.copy_problem = ""
        except PupawatchError as error:
            self.copy_problem = str(error)

    def _open(self) -> None:
        with self._reported():
            version = schema.read_header(self.path).version
            if version == 0:
                self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))
            connection = self._connect()
            try:
                if version < schema.VERSION:
                    if version:
                        older = f"{self.path.stem}-format-{version}{self.path.suffix}"
                        backup.copy(connection, backup.folder_of(self.path) / older)
                    schema.migrate(connection, version)
                    connection.execute("PRAGMA wal_checkpoint")  # so that the file's own header names its version
            except BaseException:
                connection.close()
                raise
            self._connection = connection

    def _connect(self) -> sqlite3.Connection:
        where = f"{self.path.absolute().as_uri()}?mode=rw"
        connection = sqlite3.connect(
            where, uri=True, timeout=_WAIT_SECONDS, isolation_level=None, check_same_thread=False
        )
        connection.create_function("casefold", 1, str.casefold, deterministic=True)
        return connection

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


def _row(entry: Entry) -> tuple[object, ...]:
    columns = (
        entry.id,
        entry.act,
        kind_of(entry),
        entry.about,
        iso_exact(entry.happened),
        encode(entry).decode(),
    )
    return *columns, schema.checksum(*columns)


def _worded(path: Path, error: str) -> str:
    if "readonly" in error or "unable to open" in error:
        return f"The journal {path} cannot be written: the file or its folder is read-only. Nothing was written."
    if "full" in error or "disk I/O" in error:
        return f"The journal {path} cannot be written: the disk is full or failing ({error}). Nothing was written."
    if "locked" in error or "busy" in error:
        return (
            f"The journal {path} was held by another program for {_WAIT_SECONDS:.0f} s. Nothing was written; try again."
        )
    return f"The journal {path} cannot be used ({error}). Nothing was written."
