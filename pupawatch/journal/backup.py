"""Dated copies of the journal, made through SQLite's backup interface and read back before they count."""

import itertools
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from datetime import date
from pathlib import Path
from typing import NamedTuple

from pupawatch import disk
from pupawatch.errors import Unusable
from pupawatch.journal import address, leftovers, log, schema


def folder_of(journal: Path) -> Path:
    """The folder beside the journal in which its copies are kept."""
    return journal.with_name(f"{journal.stem}-copies")


def dated(journal: Path, day: date) -> Path:
    """The copy of that day."""
    return folder_of(journal) / f"{journal.stem}-{day.isoformat()}{journal.suffix}"


def copy(source: sqlite3.Connection, target: Path) -> Path:
    """Write a checked copy of an open journal to ``target``: whole, or not at all.

    Raises Unusable where it cannot be written or does not read back; an older file of that name is then kept.
    """
    draft = leftovers.draft(target, "new")  # two programs may make the copy of the day at once
    try:
        target.parent.mkdir(exist_ok=True, mode=0o700)
        draft.unlink(missing_ok=True)
        draft.touch(mode=0o600)
        with closing(sqlite3.connect(draft)) as out:
            source.backup(out, progress=_patience())
            # A copy is a single file: no write-ahead log beside it that could be forgotten when it is carried away.
            out.execute("PRAGMA journal_mode = DELETE")
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
            if hasattr(os, "posix_fadvise"):  # so that it is read back from the disk, not from memory
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        if not is_whole(draft):
            raise Unusable("No backup of the journal was made, because it would be damaged; run `pupawatch check`.")
        disk.put(draft, target)
        _sync_folder(target.parent)
    except (OSError, sqlite3.Error) as error:
        raise Unusable(f"No backup of the journal could be written to {target}: {error}.") from None
    finally:
        with suppress(OSError):  # held by a virus scan, say; a later start sweeps it up
            draft.unlink(missing_ok=True)
    return target


def _patience() -> Callable[[int, int, int], None]:
    """Gives up, where SQLite would wait forever for another program that holds the file (it waits 0.25 s a time)."""
    waits = itertools.count(1)

    def waited(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and next(waits) > 40:
            raise sqlite3.OperationalError("it was held by another program for 10 s")

    return waited


def copy_closed(path: Path, target: Path) -> Path:
    """The same of a journal that is not open here; it is left as it is, and nothing beside it."""
    return address.asked(path, lambda source: copy(source, target))


def copy_beside(source: sqlite3.Connection | None, journal: Path, word: str) -> Path:
    """Write a checked copy of an open journal beside its file, under a name with ``word`` that is still free."""
    if source is None:
        raise Unusable("It is still empty.")
    numbers = (journal.with_name(f"{journal.stem}-{word}-{number}{journal.suffix}") for number in itertools.count(1))
    return copy(source, next(path for path in numbers if not path.exists()))


def good_copies(journal: Path) -> Iterator[Path]:
    """The copies beside the journal that read back whole, that with the newest act first."""
    for path in sorted(folder_of(journal).glob(f"*{journal.suffix}"), key=_newest_act, reverse=True):
        if is_whole(path):
            yield path


def _newest_act(path: Path) -> tuple[str, float]:
    """The greatest entry id, which grows with every act whatever the clock says; then the file's age."""
    try:
        newest = address.asked(path, lambda copy: copy.execute("SELECT max(id) FROM entry").fetchone()[0])
        return str(newest or ""), path.stat().st_mtime
    except (OSError, sqlite3.Error):
        return "", 0.0


def is_whole(path: Path) -> bool:
    """Whether a file is a journal in which every entry is whole. It is not changed, and nothing is left beside it."""
    try:
        if not schema.look(path) or log.problem(path):
            return False
        return not address.asked(path, schema.problems)
    except (OSError, Unusable, sqlite3.Error):
        return False


class Apart(NamedTuple):
    """What stands in one journal and not in another: how many entries and readings."""

    entries: int
    readings: int


def only_in(journal: Path, other: Path) -> Apart:
    """What stands in ``journal`` and not in ``other``, both of which are whole; neither is changed."""

    def counted(connection: sqlite3.Connection) -> Apart:
        mode = "immutable" if address.is_settled(other) else "ro"
        connection.execute("ATTACH ? AS other", (address.uri(other, mode),))
        return Apart(
            *(
                connection.execute(
                    f"SELECT count(*) FROM (SELECT {key} FROM main.{table} EXCEPT SELECT {key} FROM other.{table})"
                ).fetchone()[0]
                for table, key in (("entry", "id"), ("reading", "sensor, at, celsius"))
            )
        )

    try:
        return address.asked(journal, counted)
    except sqlite3.Error as error:
        raise Unusable(f"{journal} cannot be compared with {other}: {error}. Nothing was changed.") from None


def refuse_if_open(journal: Path) -> None:
    """Raise Unusable where a pupawatch has the journal open, this one or another."""
    with address.alone(journal) as nobody_else:
        if not nobody_else:
            raise Unusable(f"{journal} is open in another pupawatch; close that first. Nothing was changed.")


def restore(
    chosen: Path | None, journal: Path, stamp: str, add: Callable[[Path], None] = lambda _: None
) -> Path | None:
    """Replace the journal with a checked copy; the file that was there is kept aside and returned.

    chosen: None for an empty one. stamp: a word for the name of the file kept aside. add: what more to write into the
    copy before it is put in place. Raises Unusable, with nothing changed, where the copy is not an undamaged
    journal, and where the journal is open or is written to meanwhile. At no instant is there no journal.
    """
    refuse_if_open(journal)
    if chosen is not None and not chosen.exists():
        raise Unusable(f"There is no backup at {chosen}, so nothing was changed; `pupawatch check` names the newest.")
    if chosen is not None and not is_whole(chosen):
        raise Unusable(f"{chosen} is not an undamaged journal, so nothing was changed; name another backup.")
    aside = journal.with_name(f"{journal.stem}-replaced-{stamp}{journal.suffix}")
    there, before = journal.exists(), _ages(journal)
    draft = leftovers.draft(journal, "restored")
    try:
        address.make_folder(journal)
        # Through SQLite, for what is put back may be a journal whose newest entries still stand in its log.
        if chosen is not None:
            copy_closed(chosen, draft)
        add(draft)
        _use_log(draft)
        with address.alone(journal) as nobody_else:
            if not nobody_else or before != _ages(journal):
                raise Unusable(f"{journal} was opened by another pupawatch just now, so nothing was changed.")
            _exchange(draft, journal, aside)
    except (OSError, sqlite3.Error) as error:
        raise Unusable(
            f"The backup could not be put in place, so nothing was changed: {error}. Close every other pupawatch first."
        ) from None
    finally:
        for part in (draft, *address.beside(draft)):
            with suppress(OSError):
                part.unlink(missing_ok=True)
    return aside if there else None


def _ages(journal: Path) -> list[tuple[int, int]]:
    wal, _, rollback = address.beside(journal)
    return [address.age(part) for part in (journal, wal, rollback)]


def _use_log(draft: Path) -> None:
    """Have the file kept with a write-ahead log from the first: with one, who has it open holds a lock all the time."""
    with closing(address.connect(draft)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")


def _exchange(draft: Path, journal: Path, aside: Path) -> None:
    """Put the draft in the journal's place, and aside what is there. Raises OSError, with nothing changed.

    What SQLite keeps beside the file goes with it: it belongs to that file and would damage the new one.
    """
    wal, index, rollback = address.beside(journal)
    parts = [part for part in (wal, rollback, journal) if part.exists()]
    kept = {part: aside.with_name(aside.name + part.name.removeprefix(journal.name)) for part in parts}
    try:
        for part, name in kept.items():
            _same_under(part, name)
        for part in (wal, index, rollback):
            part.unlink(missing_ok=True)
        disk.put(draft, journal)
    except OSError:
        for part, name in kept.items():
            with suppress(OSError):
                name.unlink(missing_ok=True) if part.exists() else name.replace(part)
        raise
    _sync_folder(journal.parent)


def _same_under(part: Path, kept: Path) -> None:
    """Give a file a second name; copy it where the disk knows no such thing, or where a name could not be taken back
    from a file that somebody has just opened (Windows)."""
    try:
        if not address.knows_locks():
            raise OSError
        os.link(part, kept)
    except OSError:
        shutil.copy2(part, kept)


def _sync_folder(folder: Path) -> None:
    """Have the names in a folder on disk too, where the platform can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
