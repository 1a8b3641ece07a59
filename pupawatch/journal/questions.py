"""What can be asked of an open journal, and how what SQLite and the disk report is told."""

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from msgspec import DecodeError

from pupawatch.errors import Damaged, Unusable
from pupawatch.journal import address, schema
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C
from pupawatch.model.entries import KINDS, Entry, Found, Hanging, Misfit, Relabelled, Retraction, decode, decode_many
from pupawatch.model.text import counted, makes_writable
from pupawatch.model.times import iso_exact

Row = tuple[str, str, str, str, str, str]
"""An entry as it lies in the file: id, act, kind, about, happened, body (see ``schema``)."""

# The acts somebody took back. An act counts as perhaps alive again where the retraction was itself taken back, so
# queries that leave something out only ever leave out what nobody ever doubted.
_DOUBTED = "SELECT about FROM entry WHERE kind = 'retraction'"

_NAMING = "('found', 'hanging', 'relabelled')"

# Those that were lost, released or dead by an instant, which is named twice (see ``Pupa.holds_label``). An entry whose
# text was damaged so that no death is found in it only adds to what is read, and is then found out.
_GONE = (
    "SELECT about FROM (SELECT about, happened, act FROM entry WHERE kind IN ('lost', 'released') AND happened <= ?"
    " UNION ALL SELECT about, happened, act FROM entry WHERE kind = 'adult-seen' AND happened <= ?"
    f""" AND instr(body, '"what":"died"')) WHERE act NOT IN ({_DOUBTED})"""
)


class Questions:
    """The reading half of a journal; without a file every answer is that of an empty one."""

    path: Path
    newer: set[str]
    """The entries that were left out of an answer so far, by their ids: a newer pupawatch wrote them."""
    _connection: sqlite3.Connection | None

    def read(self, where: str = "1", values: Iterable[object] = ()) -> Iterator[Sequence[Entry]]:
        """Every entry that fits an SQL condition, in the order of writing, a few thousand at a time.

        One of a year in which nothing can have happened is passed over: no door lets it in, nothing can reckon with it.
        """
        for rows in self.rows(where, values):
            told: Sequence[Entry]
            try:
                told = decode_many("[" + ",".join([row[5] for row in rows]) + "]")
            except DecodeError:
                told = list(self._known_of(rows))
            yield [entry for entry in told if entry.is_timely]

    def _known_of(self, rows: Iterable[Row]) -> Iterator[Entry]:
        """The entries of these rows that this version knows. The others are whole (their checksums are right), so a
        newer version wrote them: they are left out and remembered in ``newer``."""
        for row in rows:
            try:
                yield decode(row[5])
            except DecodeError:
                self.newer.add(row[0])

    def left_out(self) -> str:
        """What to say of the entries that were left out of answers, "" where none was."""
        if not self.newer:
            return ""
        told = counted(len(self.newer), "entry", "entries")
        return f"{told} in {self.path}, written by a newer pupawatch, cannot be read here: update pupawatch."

    def refuse_newer(self) -> None:
        """Raise Unusable where a newer pupawatch wrote in this journal: what it wrote may speak against any act."""
        kinds = set(self._kinds()) - KINDS
        if kinds or self.newer:
            what = f" ({', '.join(sorted(kinds))})" if kinds else ""
            raise Unusable(
                f"{self.path} holds entries written by a newer pupawatch{what}: update pupawatch to write in it. "
                "Nothing was written."
            )

    def _kinds(self) -> Iterator[str]:
        """The kinds of entries in the journal, each found through the index without reading the others' rows."""
        if self._connection is None:
            return
        with self._reported():
            kind: str | None = ""
            while kind is not None:
                kind = self._connection.execute("SELECT min(kind) FROM entry WHERE kind > ?", (kind,)).fetchone()[0]
                if kind is not None:
                    yield kind

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
                        raise Damaged(f"Entry {seq} of {self.path} is damaged; run `pupawatch check`.")
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
        return self.read_pupae(
            {
                entry.pupa
                for entries in self.read_naming()
                for entry in entries
                if isinstance(entry, Found | Hanging | Relabelled) and entry.label.casefold() == label.casefold()
            }
        )

    def read_pupae(self, pupae: Iterable[str]) -> Iterator[Sequence[Entry]]:
        """All about the pupae of these ids, and every retraction."""
        return self.read("about IN (SELECT value FROM json_each(?)) OR kind = 'retraction'", (json.dumps([*pupae]),))

    def pupa_ids(self) -> list[str]:
        """The ids of all pupae that were ever found."""
        if self._connection is None:
            return []
        with self._reported():
            asked = "SELECT DISTINCT about FROM entry WHERE kind IN ('found', 'hanging')"
            return [about for (about,) in self._connection.execute(asked)]

    def read_unreleased(self, emerged_before: datetime, by: datetime | None = None) -> Iterator[Sequence[Entry]]:
        """All about the butterflies that emerged before that instant and were neither released nor lost nor dead (and
        about a few more where that was taken back), and every retraction. by: only what became of them until then
        counts."""
        until = iso_exact(by) if by else "9999"
        emerged = f"SELECT about FROM entry WHERE kind = 'emerged' AND happened < ? AND act NOT IN ({_DOUBTED})"
        return self.read(
            f"about IN ({emerged} EXCEPT {_GONE}) OR kind = 'retraction'", (iso_exact(emerged_before), until, until)
        )

    def read_names(self) -> Iterator[Sequence[Entry]]:
        """What says which labels are held: how those that may still be in care were called, what became of them, and
        every retraction."""
        ends = "('lost', 'released', 'adult-seen')"
        named = f"SELECT about FROM entry WHERE kind IN {_NAMING} EXCEPT {_GONE}"
        return self.read(
            f"((kind IN {_NAMING} OR kind IN {ends}) AND about IN ({named})) OR kind = 'retraction'", ("9999", "9999")
        )

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

    def acts_since(self, identity: str) -> list[str]:
        """The acts whose ids are this one or greater, but for retractions, the newest first.

        By their ids, which grow with every act: what was merged after it was written elsewhere is not newer for that.
        """
        return self._acts("DISTINCT act", "act >= ? AND kind <> 'retraction' ORDER BY act DESC", identity)

    def newest_act(self, without: Iterable[str]) -> str:
        """The act with the greatest id that is neither a retraction nor one of these, "" where there is none."""
        counting = "kind <> 'retraction' AND act NOT IN (SELECT value FROM json_each(?))"
        return next(iter(self._acts("coalesce(max(act), '')", counting, json.dumps([*without]))), "")

    def acts_beginning(self, text: str) -> list[str]:
        """The acts, retractions too, whose ids begin with this text, in their order."""
        return self._acts("DISTINCT act", "substr(act, 1, ?) = ? ORDER BY act", len(text), text)

    def act_about_the_same(self, act: str, after: str) -> str:
        """An act after that one (by its id) about a pupa or place that ``act`` is about, "" where there is none."""
        same = "act > ? AND about IN (SELECT about FROM entry WHERE act = ?) LIMIT 1"
        return next(iter(self._acts("act", same, after, act)), "")

    def _acts(self, what: str, where: str, *values: object) -> list[str]:
        # No index begins with the act, but one holds it: SQLite goes through that alone, not through the entries.
        if self._connection is None:
            return []
        with self._reported():
            found = self._connection.execute(f"SELECT {what} FROM entry WHERE {where}", values)
            return [act for (act,) in found]

    def read_act(self, act: str, most: int = -1) -> Iterator[Sequence[Entry]]:
        """The entries of this act, at most so many of them."""
        return self.read("seq IN (SELECT seq FROM entry WHERE act = ? LIMIT ?)", (act, most))

    def act_size(self, act: str) -> tuple[int, int]:
        """How many entries this act has, and about how many pupae and places they are."""
        if self._connection is None:
            return 0, 0
        with self._reported():
            query = "SELECT count(*), count(DISTINCT about) FROM entry WHERE act = ?"
            entries, about = self._connection.execute(query, (act,)).fetchone()
            return entries, about

    def read_about(self, about: str) -> Iterator[Sequence[Entry]]:
        """All about this pupa or place."""
        return self.read("about = ?", (about,))

    def read_kind(self, kind: str) -> Iterator[Sequence[Entry]]:
        """Every entry of this kind."""
        return self.read("kind = ?", (kind,))

    def read_naming(self) -> Iterator[Sequence[Entry]]:
        """Every entry that gives a pupa a label."""
        return self.read(f"kind IN {_NAMING}")

    def retractions(self) -> list[Retraction]:
        """Every retraction."""
        return [entry for some in self.read_kind("retraction") for entry in some if isinstance(entry, Retraction)]

    def last(self) -> int:
        """The number of the newest entry; 0 in an empty journal."""
        if self._connection is None:
            return 0
        with self._reported():
            return int(self._connection.execute("SELECT coalesce(max(seq), 0) FROM entry").fetchone()[0])

    def readings(self, sensor: str, since: float, until: float) -> tuple[list[int], list[float]]:
        """A sensor's readings between two POSIX seconds: seconds and °C, in order of time.

        Where files tell a second differently the lowest value counts, whichever came first. One that no place can be
        like, which no door lets in, is passed over.
        """
        read: dict[int, float] = {}
        if self._connection is not None:
            with self._reported():
                query = "SELECT at, celsius, crc32 FROM reading WHERE sensor = ? AND at BETWEEN ? AND ?"
                rows = self._connection.execute(f"{query} ORDER BY at, celsius", (sensor, int(since), int(until)))
                for at, celsius, crc in rows:
                    if not schema.reading_adds_up(sensor, at, celsius, crc):
                        raise Damaged(f"A reading of {self.path} is damaged; run `pupawatch check`.")
                    if COLDEST_C <= celsius <= HOTTEST_C:
                        read.setdefault(at, celsius)
        return list(read), list(read.values())

    def every_reading(self) -> Iterator[tuple[str, int, float]]:
        """Every reading of every sensor, also where one second is told differently."""
        if self._connection is None:
            return
        with self._reported():
            for sensor, at, celsius, crc in self._connection.execute("SELECT sensor, at, celsius, crc32 FROM reading"):
                if not schema.reading_adds_up(sensor, at, celsius, crc):
                    raise Damaged(f"A reading of {self.path} is damaged; run `pupawatch check`.")
                yield sensor, at, celsius

    def disputed_readings(self) -> int:
        """How many seconds of a sensor are told differently."""
        if self._connection is None:
            return 0
        with self._reported():
            query = "SELECT count(*) FROM (SELECT 1 FROM reading GROUP BY sensor, at HAVING count(*) > 1)"
            return int(self._connection.execute(query).fetchone()[0])

    def misfits(self) -> Iterator[tuple[Entry, Misfit]]:
        """The entries that no door lets in, as another program may write them, each with a field that shows it."""
        for rows in self.rows():
            for entry in self._known_of(rows):
                if misfit := next(entry.misfits(), None):
                    yield entry, misfit

    def implausible_readings(self) -> int:
        """How many readings are such as no place can be like."""
        if self._connection is None:
            return 0
        with self._reported():
            query = "SELECT count(*) FROM reading WHERE celsius NOT BETWEEN ? AND ?"
            return int(self._connection.execute(query, (COLDEST_C, HOTTEST_C)).fetchone()[0])

    def sensors(self) -> list[tuple[str, int, int, int]]:
        """Every sensor: its name, how many readings it has, the first and the last POSIX second."""
        if self._connection is None:
            return []
        with self._reported():
            query = "SELECT sensor, count(*), min(at), max(at) FROM reading GROUP BY sensor ORDER BY sensor"
            return self._connection.execute(query).fetchall()

    def reading_span(self, sensor: str) -> tuple[int, int] | None:
        """The POSIX seconds of a sensor's first and newest reading, None where it has none."""
        if self._connection is None:
            return None
        with self._reported():
            query = "SELECT min(at), max(at) FROM reading WHERE sensor = ?"
            first, last = self._connection.execute(query, (sensor,)).fetchone()
            return None if first is None else (first, last)

    def holds_readings(self, sensor: str, readings: Iterable[tuple[int, float]]) -> int:
        """How many of these (POSIX second, °C) of a sensor the journal holds already."""
        if self._connection is None:
            return 0
        with self._reported():
            query = "SELECT count(*) FROM reading WHERE sensor = ? AND at = ? AND celsius = ?"
            return sum(self._connection.execute(query, (sensor, *one)).fetchone()[0] for one in readings)

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
        """Where the pupae of the newest ends by that instant (emerged, wings judged, or lost) hung, how they did and
        what was found on them, and every retraction."""
        ends = " UNION ALL ".join(
            "SELECT * FROM (SELECT about, happened FROM entry WHERE kind = ? AND happened <= ?"
            " ORDER BY happened DESC LIMIT ?)"
            for _ in range(3)
        )
        newest = f"SELECT about FROM ({ends}) GROUP BY about ORDER BY max(happened) DESC LIMIT ?"
        told = "('hanging', 'found', 'moved', 'emerged', 'wings', 'lost', 'finding')"
        until = iso_exact(by)
        return self.read(
            # The + keeps SQLite from going through all entries of these kinds instead of those pupae's.
            f"seq IN (SELECT seq FROM entry WHERE about IN ({newest}) AND +kind IN {told}"
            " UNION ALL SELECT seq FROM entry WHERE kind = 'retraction')",
            ("wings", until, most, "lost", until, most, "emerged", until, most, most),
        )

    def newest_id(self) -> str:
        """The greatest entry id; "" in an empty journal."""
        if self._connection is None:
            return ""
        with self._reported():
            return str(self._connection.execute("SELECT coalesce(max(id), '') FROM entry").fetchone()[0])

    def last_act(self) -> str:
        """The act of the entry that was written last; "" in an empty journal. Of history that is no entry's id."""
        if self._connection is None:
            return ""
        with self._reported():
            row = self._connection.execute("SELECT act FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
            return str(row[0]) if row else ""

    @contextmanager
    def _reported(self) -> Iterator[None]:
        """Turn what SQLite and the disk report into one sentence with a way on."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            if not isinstance(error, sqlite3.OperationalError) or "decode" in str(error):  # text that is none any more
                raise Damaged(f"The journal {self.path} is damaged ({error}); run `pupawatch check`.") from None
            raise Unusable(_worded(self.path, str(error))) from None
        except OSError as error:
            raise Unusable(f"The journal {self.path} cannot be used: {error.strerror}. Nothing was written.") from None


def _worded(path: Path, error: str) -> str:
    if "readonly" in error or "unable to open" in error:
        if locked := [str(one) for one in address.beside(path) if one.exists() and not os.access(one, os.W_OK)]:
            each = " and ".join(f"`{makes_writable(one)}`" for one in locked)
            return (
                f"The journal {path} cannot be used: the files beside it are still read-only, as the journal was "
                f"when they were made. {each} repairs that. Nothing was written."
            )
        return (
            f"The journal {path} cannot be written: the file or its folder is read-only, or the disk is full. "
            "Nothing was written."
        )
    if "full" in error or "disk I/O" in error:
        return f"The journal {path} cannot be written: the disk is full or failing ({error}). Nothing was written."
    if "locked" in error or "busy" in error:
        waited = f"{address.WAIT_SECONDS:.0f} s"
        return f"The journal {path} was held by another program for {waited}. Nothing was written; try again."
    return f"The journal {path} cannot be used ({error}). Nothing was written."
