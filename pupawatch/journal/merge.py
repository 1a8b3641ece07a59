"""Two journals united: every entry and every reading that stands in either stands in the one afterwards.

What stands in both is taken once. Where one entry is told differently, as by two people who brought in the same
notebook on different days, both tellings are kept, each in a row of its own under an id made from its content. Which of
them counts is decided when they are read (``model.state``), so it is the same on both machines and in any order.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from msgspec import DecodeError, json

from pupawatch import disk
from pupawatch.errors import Unusable
from pupawatch.journal import backup, leftovers
from pupawatch.journal.file import Journal
from pupawatch.journal.questions import Row
from pupawatch.model.entries import Entry, decode, decode_bare
from pupawatch.model.fields import CELSIUS, NAME
from pupawatch.model.ids import digest, entry_id, is_id, moment_of
from pupawatch.model.text import LONGEST_NOTE, quoted, shown
from pupawatch.model.times import YEARS, in_years, iso_exact

_FIRST, _END = (datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (YEARS.start, YEARS.stop))


class Merged(NamedTuple):
    """What was new: entries, readings; and how many of the entries both journals hold, but tell differently."""

    entries: int = 0
    readings: int = 0
    differing: int = 0


@contextmanager
def opened(path: Path) -> Iterator[Journal]:
    """Another journal to read from: a copy of it, so that the file is left as it is and nothing is left beside it.

    Raises Unusable where it is no journal, or a damaged one.
    """
    if not path.exists():
        raise Unusable(f"There is no journal at {path}.")
    try:
        disk.regular(path)
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None
    with leftovers.folder() as folder:
        copy = folder / "other.db"
        if not backup.is_whole(path):
            raise Unusable(
                f"{path} is not an undamaged journal, so nothing was merged; run `pupawatch check` on its computer."
            )
        backup.copy_closed(path, copy)
        journal = Journal(copy)
        try:
            yield journal
        finally:
            journal.close()


def newer_than_this(other: Journal) -> int:
    """How many entries of ``other`` this version cannot read, because a newer one wrote them."""
    for _ in other.read_all():
        pass
    return len(other.newer)


def unite(journal: Journal, other: Journal) -> Merged:
    """Take in what ``other`` holds, inside ``journal.writing``. Raises Unusable where an entry cannot be true."""
    united = Merged()
    for rows in other.rows():
        for row in rows:
            _check(row)
        more = take_in(journal, rows)
        united = Merged(united.entries + more.entries, 0, united.differing + more.differing)
    return united._replace(readings=journal.add_readings(_readable(other)))


def take_in(journal: Journal, rows: Sequence[Row]) -> Merged:
    """Take in the entries that are new, as they lie in another file, inside ``journal.writing``.

    What a newer version wrote comes in as it is, unread but for what every version's entry has.
    """
    told = [(row, decode_bare(row[5])) for row in rows]
    held = journal.bodies(entry.id for _, entry in told)
    fresh: dict[str, Row] = {}
    differing: dict[str, Row] = {}
    for row, entry in told:
        body = row[5]
        if entry.id not in held:
            held[entry.id] = body
            fresh[entry.id] = (entry.id, *row[1:])
        elif held[entry.id] != body:
            own = own_id(entry.id, body)
            differing[own] = (own, *row[1:])
    known = journal.bodies(differing)
    differing = {identity: row for identity, row in differing.items() if identity not in known}
    journal.append_rows([*fresh.values(), *differing.values()])
    return Merged(len(fresh) + len(differing), 0, len(differing))


def own_id(identity: str, body: str) -> str:
    """The id of the row in which another telling of an entry is kept."""
    return entry_id(moment_of(identity), digest(identity, body))


def _check(row: Row) -> None:
    """Raise Unusable where no pupawatch can have written this row; of a newer one's, what can be checked is."""
    try:
        bare = decode_bare(row[5])
        if not is_id(bare.id):
            raise ValueError(bare.id)
        moments = [moment_of(bare.id), moment_of(bare.act), bare.happened, bare.recorded, bare.since or bare.happened]
        entry = _known(row)
        unread = None if entry else json.decode(row[5])
    except (ValueError, OverflowError):  # msgspec's errors are ValueErrors
        raise Unusable(f"Entry {shown(row[0][:40])} cannot be understood, so nothing was merged.") from None
    for misfit in entry.misfits() if entry else ():
        raise Unusable(f"In entry {bare.id} ({bare.kind}) {misfit}, so nothing was merged.")
    if not all(map(in_years, moments)):
        raise Unusable(f"Entry {bare.id} has an impossible time, so nothing was merged.")
    if not _is_fit(unread):
        raise Unusable(f"Entry {bare.id} holds hidden characters or a text that is too long, so nothing was merged.")
    about = entry.about if entry else row[3]
    if row[1:5] != (bare.act, bare.kind, about, iso_exact(bare.happened)):
        raise Unusable(f"Entry {bare.id} is filed under the wrong kind, so nothing was merged.")


def _known(row: Row) -> Entry | None:
    """The entry of a row, None where a newer version wrote it."""
    try:
        entry: Entry = decode(row[5])
    except DecodeError:
        return None
    return entry


def _is_fit(value: object) -> bool:
    """Whether all the texts in a value, as JSON has it, can be shown and come to an end."""
    if isinstance(value, dict):
        return all(map(_is_fit, value.items()))
    if isinstance(value, list | tuple):
        return all(map(_is_fit, value))
    return not isinstance(value, str) or (shown(value) == value and len(value) <= LONGEST_NOTE)


def _readable(other: Journal) -> Iterator[tuple[str, int, float]]:
    for sensor, at, celsius in other.every_reading():
        if not (NAME.holds(sensor) and CELSIUS.holds(celsius) and _FIRST <= at < _END):
            told = f"{celsius:g} °C at second {at}"
            raise Unusable(f"A reading of sensor {quoted(sensor)} ({told}) is not possible, so nothing was merged.")
        yield sensor, at, celsius
