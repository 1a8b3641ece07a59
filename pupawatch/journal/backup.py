"""Dated copies of the journal, made through SQLite's backup interface and read back before they count."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

from pupawatch.errors import Unusable
from pupawatch.journal import schema


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
    draft = target.with_name(f"{target.name}.{os.getpid()}.new")  # two programs may make the copy of the day at once
    try:
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        draft.unlink(missing_ok=True)
        draft.touch(mode=0o600)
        with closing(sqlite3.connect(draft)) as out:
            source.backup(out)
            # A copy is a single file: no write-ahead log beside it that could be forgotten when it is carried away.
            out.execute("PRAGMA journal_mode = DELETE")
            problems = schema.problems(out)
        if problems:
            raise Unusable("No copy of the journal was made, for it would be damaged; run `pupawatch check`.")
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        draft.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise Unusable(f"No copy of the journal could be written to {target}: {error}.") from None
    finally:
        if draft.exists():
            draft.unlink()
    return target


def good_copies(journal: Path) -> Iterator[Path]:
    """The copies beside the journal that read back whole, the newest first."""
    for path in sorted(folder_of(journal).glob(f"*{journal.suffix}"), key=lambda p: p.stat().st_mtime, reverse=True):
        if is_whole(path):
            yield path


def is_whole(path: Path) -> bool:
    """Whether a file is a journal in which every entry is whole. It is not changed."""
    try:
        if not schema.read_header(path).version:
            return False
        with closing(_only_read(path)) as connection:
            return not schema.problems(connection)
    except (Unusable, sqlite3.Error):
        return False


def restore(chosen: Path, journal: Path, stamp: str) -> Path | None:
    """Put a checked copy in the stead of the journal; the file that was there is kept aside and returned.

    stamp: a word for the name of the file kept aside. Raises Unusable, with nothing changed, where the copy is not
    a whole journal.
    """
    if not is_whole(chosen):
        raise Unusable(f"{chosen} is not a whole journal, so nothing was changed; name another copy.")
    aside = None
    try:
        draft = journal.with_name(journal.name + ".restored")
        # Through SQLite, for what is put back may be a journal whose newest entries still stand in its log.
        with closing(_only_read(chosen)) as source:
            copy(source, draft)
        if journal.exists():
            # Its write-ahead log goes with it: the log belongs to that file and would damage the new one.
            aside = journal.with_name(f"{journal.stem}-replaced-{stamp}{journal.suffix}")
            for tail in ("-wal", "-shm", ""):
                part = journal.with_name(journal.name + tail)
                if part.exists():
                    part.rename(aside.with_name(aside.name + tail))
        draft.replace(journal)
    except OSError as error:
        raise Unusable(f"The copy could not be put in place: {error}.") from None
    return aside


def _only_read(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
