"""The write-ahead log beside a journal: whether SQLite passes over writes that stand in it.

SQLite reads a log up to the first frame that does not add up and says nothing of what comes after it. After a kill the
log holds the newest entries, so a flipped bit there would hide them. The layout is the one documented as "WAL-mode
File Format" on sqlite.org.
"""

import struct
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

_HEADER, _FRAME = 32, 24
_MAGIC = {0x377F0682: "little", 0x377F0683: "big"}


class Frame(NamedTuple):
    """A page as it stands in the log. commits: whether a write was complete with it."""

    page: int
    commits: bool
    data: bytes


def of(journal: Path) -> Path:
    """The log of a journal."""
    return journal.with_name(journal.name + "-wal")


def frames(journal: Path) -> Iterator[Frame]:
    """The frames of the log's present round, in order, up to the last that completes a write; none without a log.

    Whether they add up is not looked at: what reads them checks what it finds there by itself.
    """
    head, sizes = b"", []
    try:
        with of(journal).open("rb") as file:
            head = file.read(_HEADER)
            page_size = int.from_bytes(head[8:12], "big")
            if len(head) < _HEADER or not 512 <= page_size <= 65536:
                return
            while len(frame := file.read(_FRAME + page_size)) == _FRAME + page_size:
                sizes.append((frame[8:16], int.from_bytes(frame[4:8], "big")))
            # Where the head is damaged its salt is lost, but that of the first frame is the same.
            salt = head[16:24] if _adds_up(head) or not sizes else sizes[0][0]
            last = max((n for n, (own, size) in enumerate(sizes) if own == salt and size), default=-1)
            file.seek(_HEADER)
            for own, size in sizes[: last + 1]:
                page = int.from_bytes(file.read(_FRAME)[:4], "big")
                data = file.read(page_size)
                if own == salt:
                    yield Frame(page, bool(size), data)
    except OSError:
        return


def problem(journal: Path) -> str:
    """What is wrong with the log, in a sentence; "" where nothing is. To be asked once SQLite has read the log."""
    try:
        with of(journal).open("rb") as file:
            head = file.read(_HEADER)
    except OSError:
        return ""
    complete = sum(1 for frame in frames(journal))
    if not complete:
        return ""
    newest = f"The newest entries may be missing: the log beside the journal, {of(journal).name}, is damaged"
    if not _adds_up(head):
        return f"{newest} at its beginning."
    with journal.open("rb") as file:
        if file.read(20)[18:20] != b"\2\2":
            return f"{newest} or belongs to another file."
    read = _frames_read(journal)
    if read is not None and read < complete:
        return f"{newest}: of its {complete} pages SQLite reads {read}."
    return ""


def _adds_up(head: bytes) -> bool:
    order = _MAGIC.get(int.from_bytes(head[:4], "big"))
    if order is None or len(head) < _HEADER:
        return False
    one, two = 0, 0
    words = struct.unpack(f"{'<' if order == 'little' else '>'}6I", head[:24])
    for first, second in zip(words[::2], words[1::2], strict=True):
        one = (one + first + two) & 0xFFFFFFFF
        two = (two + second + one) & 0xFFFFFFFF
    return struct.unpack(">2I", head[24:32]) == (one, two)


def _frames_read(journal: Path) -> int | None:
    """How many frames SQLite takes for whole, as it notes it in the index of the log; None where there is none."""
    try:
        with journal.with_name(journal.name + "-shm").open("rb") as file:
            index = file.read(48)
    except OSError:
        return None
    return int.from_bytes(index[16:20], sys.byteorder) if len(index) == 48 else None
