"""Where a file from outside is laid out before anything of it is written: as large as it likes, and gone afterwards.

A private SQLite file without a name: it is kept in memory as long as it is small, runs over to the disk, and is gone
with the process, whatever ends it.
"""

import sqlite3
import sys
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import groupby, islice
from types import TracebackType
from typing import NamedTuple

from msgspec.msgpack import Decoder, Encoder

from pupawatch.errors import Unusable
from pupawatch.model.entries import Entry, decode, encode


class Begun(NamedTuple):
    """The pupa that holds a label so far. named: its label, species and site; known_from: the first that is known
    of it; finished: when it was lost or let go, or at least emerged; prepupa: not known to have pupated."""

    pupa: str
    line: int
    named: dict[str, str]
    known_from: datetime
    finished: datetime | None
    prepupa: bool


_BATCH = 2000
_pack = Encoder().encode
_unpack = Decoder(Begun).decode

_TEMPORARY = "TEMP" if sys.platform == "win32" else "TMPDIR"
"""What names the temporary folder to the system."""


class Staging:
    """Entries and readings in the order in which they were read, and what a reader must remember meanwhile."""

    def __init__(self) -> None:
        self._file = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._file.executescript(
            """PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -16000;
            CREATE TABLE draft (number INTEGER PRIMARY KEY, id TEXT UNIQUE, pupa TEXT, body BLOB);
            CREATE TABLE begun (label TEXT PRIMARY KEY, what BLOB) WITHOUT ROWID;
            CREATE TABLE turn (what BLOB, content BLOB, turn INTEGER, PRIMARY KEY (what, content)) WITHOUT ROWID;
            CREATE TABLE held (label TEXT, pupa TEXT, PRIMARY KEY (label, pupa)) WITHOUT ROWID;
            CREATE TABLE reading (sensor TEXT, at INTEGER, celsius REAL);
            BEGIN"""
        )

    def __enter__(self) -> "Staging":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()
        if isinstance(error, sqlite3.Error):  # the journal's own errors are sentences already
            raise Unusable(
                f"There is not enough room in the temporary folder ({error}); free some, or name another "
                f"folder as {_TEMPORARY}. Nothing was written."
            ) from None

    # -- what was read

    def put(self, entries: Iterable[Entry]) -> None:
        """Lay out entries of a pupa; one that lies there already says nothing new."""
        self._file.executemany(
            "INSERT OR IGNORE INTO draft (id, pupa, body) VALUES (?, ?, ?)",
            ((entry.id, entry.about, encode(entry)) for entry in entries),
        )

    def __len__(self) -> int:
        return int(self._file.execute("SELECT count(*) FROM draft").fetchone()[0])

    def entries(self) -> Iterator[Entry]:
        """All entries, in the order in which they were read."""
        for (body,) in self._file.execute("SELECT body FROM draft ORDER BY number"):
            yield decode(body)

    def batches(self) -> Iterator[list[Entry]]:
        """The same, a few thousand at a time."""
        entries = self.entries()
        while batch := list(islice(entries, _BATCH)):
            yield batch

    def by_pupa(self) -> Iterator[tuple[str, list[Entry]]]:
        """The entries of each pupa."""
        self._file.execute("CREATE INDEX IF NOT EXISTS draft_pupa ON draft (pupa)")
        rows = self._file.execute("SELECT pupa, body FROM draft ORDER BY pupa, number")
        for pupa, some in groupby(rows, key=lambda row: str(row[0])):
            yield pupa, [decode(body) for _, body in some]

    def put_readings(self, readings: Iterable[tuple[str, int, float]]) -> int:
        """Lay out a logger's readings; how many they were."""
        before = self._file.total_changes
        self._file.executemany("INSERT INTO reading VALUES (?, ?, ?)", readings)
        return self._file.total_changes - before

    def readings(self) -> Iterator[tuple[str, int, float]]:
        """All readings, in the order in which they were read."""
        return self._file.execute("SELECT sensor, at, celsius FROM reading ORDER BY rowid")

    def sensors(self) -> list[str]:
        """The sensors of the readings."""
        return [name for (name,) in self._file.execute("SELECT DISTINCT sensor FROM reading ORDER BY sensor")]

    def first_after(self, sensor: str, second: int) -> int | None:
        """The first POSIX second of a sensor after another."""
        asked = "SELECT min(at) FROM reading WHERE sensor = ? AND at > ?"
        found = self._file.execute(asked, (sensor, second)).fetchone()[0]
        return None if found is None else int(found)

    def some_between(self, sensor: str, first: int, last: int, most: int) -> list[tuple[int, float]]:
        """Some of a sensor's readings between two POSIX seconds."""
        asked = "SELECT at, celsius FROM reading WHERE sensor = ? AND at BETWEEN ? AND ? LIMIT ?"
        return self._file.execute(asked, (sensor, first, last, most)).fetchall()

    def told_twice(self) -> int:
        """How many seconds of a sensor are told with different values."""
        asked = "SELECT 1 FROM reading GROUP BY sensor, at HAVING min(celsius) < max(celsius)"
        return int(self._file.execute(f"SELECT count(*) FROM ({asked})").fetchone()[0])

    # -- what a reader remembers

    def begun(self, label: str) -> Begun | None:
        """The pupa that holds this label so far."""
        row = self._file.execute("SELECT what FROM begun WHERE label = ?", (label,)).fetchone()
        return _unpack(row[0]) if row else None

    def begin(self, label: str, begun: Begun) -> None:
        """Remember the pupa that holds this label now."""
        self._file.execute("INSERT OR REPLACE INTO begun VALUES (?, ?)", (label, _pack(begun)))

    def turn(self, what: bytes, content: bytes) -> int:
        """Which turn this content has among all of the same ``what``: 0 for the first that came."""
        asked = "SELECT turn FROM turn WHERE what = ? AND content = ?"
        row = self._file.execute(asked, (what, content)).fetchone()
        if row:
            return int(row[0])
        last = self._file.execute("SELECT max(turn) FROM turn WHERE what = ?", (what,)).fetchone()[0]
        turn = 0 if last is None else int(last) + 1
        self._file.execute("INSERT INTO turn VALUES (?, ?, ?)", (what, content, turn))
        return turn

    def hold(self, named: Iterable[tuple[str, str]]) -> None:
        """Remember labels of the journal with the pupae that ever carried them."""
        self._file.executemany("INSERT OR IGNORE INTO held VALUES (?, ?)", named)

    def holding(self, label: str) -> list[str]:
        """The pupae of the journal that ever carried this label."""
        return [pupa for (pupa,) in self._file.execute("SELECT pupa FROM held WHERE label = ?", (label,))]
