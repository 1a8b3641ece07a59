"""The write-ahead log beside a journal: whether SQLite passes over writes that stand in it.

SQLite reads a log up to the first frame that does not add up, says nothing of what comes after it, and removes the log
when it is closed. After a kill the log holds the newest entries, so a flipped bit there would cost them. The layout is
the one documented as "WAL-mode File Format" on sqlite.org.
"""

import struct
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, NamedTuple

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
    with suppress(OSError), of(journal).open("rb") as file:
        head, heads = _heads(file)
        for number, own in enumerate(heads):
            if own:
                file.seek(_HEADER + number * (_FRAME + head.page_size) + _FRAME)
                yield Frame(own.page, own.commits, file.read(head.page_size))


def problem(journal: Path) -> str:
    """What is wrong with the log, in a sentence; "" where nothing is. To be asked once SQLite has read the log.

    A write that another program is about to complete looks like one that was lost, until it is done.
    """
    try:
        with of(journal).open("rb") as file:
            head, heads = _heads(file)
        with journal.open("rb") as file:
            beginning = file.read(20)
    except OSError:
        return ""
    if not heads:
        return ""
    damaged = f"The log beside the journal, {of(journal).name}, which holds the newest entries, is damaged"
    if not head.adds_up:
        return f"{damaged} at its beginning."
    if beginning[18:20] != b"\2\2":
        return f"{damaged} or belongs to another file."
    read = _frames_read(journal)
    if read is not None and read < len(heads):
        return f"{damaged}: of its {len(heads)} pages only {read} add up."
    return ""


class _Head(NamedTuple):
    page_size: int
    adds_up: bool


def _heads(file: BinaryIO) -> tuple[_Head, list[Frame | None]]:
    """The head of a log, and those of its frames up to the last that completes a write; None for what is left over."""
    begin = file.read(_HEADER)
    head = _Head(int.from_bytes(begin[8:12], "big"), _adds_up(begin))
    if len(begin) < _HEADER or not 512 <= head.page_size <= 65536:
        head = _Head(4096, False)
    found: list[tuple[bytes, Frame]] = []
    end = file.seek(0, 2)
    for at in range(_HEADER, end - _FRAME - head.page_size + 1, _FRAME + head.page_size):
        file.seek(at)
        frame = file.read(16)
        found.append((frame[8:16], Frame(int.from_bytes(frame[:4], "big"), any(frame[4:8]), b"")))
    # Where the head is damaged its salt is lost, but that of the first frame is the same.
    salt = begin[16:24] if head.adds_up or not found else found[0][0]
    own = [frame if salted == salt else None for salted, frame in found]
    last = max((number for number, frame in enumerate(own) if frame and frame.commits), default=-1)
    return head, own[: last + 1]


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
