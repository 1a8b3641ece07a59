"""The write-ahead log beside a journal: whether SQLite would pass over writes that stand in it.

SQLite reads a log up to the first frame that does not add up, says nothing of what comes after it, and removes the log
when it is closed. After a kill the log holds the newest entries, so a flipped bit there would cost them. The layout and
the checksum are those documented as "WAL-mode File Format" on sqlite.org.
"""

import struct
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, NamedTuple

from pupawatch.journal import address

_HEADER, _FRAME = 32, 24
_ORDERS = {0x377F0682: "<", 0x377F0683: ">"}
"""In which order of bytes a log's words are summed up, by the number that it begins with."""
_PAGE_SIZES = tuple(1 << power for power in range(9, 17))
_LOOKS, _BETWEEN_LOOKS_SECONDS = 4, 0.05

_Sum = tuple[int, ...]


class Frame(NamedTuple):
    """A page as it stands in the log. commits: whether a write was complete with it."""

    page: int
    commits: bool
    data: bytes


def of(journal: Path) -> Path:
    """The log of a journal."""
    return address.beside(journal)[0]


def frames(journal: Path) -> Iterator[Frame]:
    """The frames of the log's present round, in order, up to the last that completes a write; none without a log.

    Whether they add up is not looked at: what reads them checks what it finds there by itself. Not to be asked while
    this process has the journal open (see ``address.raw``).
    """
    with suppress(OSError, struct.error), of(journal).open("rb") as file:
        yield from _Log(file).frames()


def problem(journal: Path) -> str:
    """What is wrong with the log, in a sentence; "" where nothing is. To be asked before SQLite reads the log.

    Also "" where the journal is open here or in another program: there SQLite does not read the log anew, but goes by
    the index that all share who have it open. A write that another program is just completing looks like damage too, so
    damage is only what stays.
    """
    told, is_open_elsewhere = _told(journal), True
    for _ in range(_LOOKS):
        if not told:
            return ""
        with address.alone(journal) as nobody_else:
            is_open_elsewhere &= not nobody_else
        time.sleep(_BETWEEN_LOOKS_SECONDS)
        if _told(journal) != told:  # somebody is writing
            return ""
    return "" if is_open_elsewhere else told


def _told(journal: Path) -> str:
    with address.raw(journal) as may_read:
        return _look(journal) if may_read else ""


def _look(journal: Path) -> str:
    try:
        with of(journal).open("rb") as file:
            log = _Log(file)
        if not log.complete:
            return ""
        with journal.open("rb") as file:
            beginning = file.read(20)
    except (OSError, struct.error):  # it is not there, or is just being cut short
        return ""
    damaged = f"The log beside the journal, {of(journal).name}, which holds the newest entries, is damaged"
    if not log.adds_up:
        return f"{damaged} at its beginning."
    if beginning[18:20] != b"\2\2":
        return f"{damaged} or belongs to another file."
    if log.read < log.complete:
        return f"{damaged}: of its {log.complete} pages only {log.read} match their checksums."
    return ""


class _Log:
    """What a log holds, as long as its file is open.

    adds_up: whether its beginning does. read: how many frames SQLite would take for whole. complete: how many there are
    up to the last that completes a write.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        begin = file.read(_HEADER)
        self._order = _ORDERS.get(int.from_bytes(begin[:4], "big"), "")
        page_size = int.from_bytes(begin[8:12], "big")
        is_known = len(begin) == _HEADER and self._order and page_size in _PAGE_SIZES
        self.adds_up = bool(is_known) and _summed(self._order, begin[:24]) == _sum_in(begin[24:])
        self._page_size = page_size if self.adds_up else 4096
        self._count = max(0, file.seek(0, 2) - _HEADER) // (_FRAME + self._page_size)
        # Where the beginning is damaged its salt is lost, but that of the first frame is the same.
        self._salt = begin[16:24] if self.adds_up else self._head(0)[8:16]
        self.read, self._summed = self._whole(_sum_in(begin[24:])) if self.adds_up else (0, 0)
        heads = ((number, self._head(number)) for number in reversed(range(self._count)))
        self.complete = next((n + 1 for n, head in heads if any(head[4:8]) and self._is_own(n, head)), 0)

    def frames(self) -> Iterator[Frame]:
        """Those of the present round, up to the last that completes a write."""
        for number in range(self.complete):
            head = self._head(number)
            if self._is_own(number, head):
                yield Frame(int.from_bytes(head[:4], "big"), any(head[4:8]), self._file.read(self._page_size))

    def _head(self, number: int) -> bytes:
        self._file.seek(_HEADER + number * (_FRAME + self._page_size))
        return self._file.read(_FRAME)

    def _is_own(self, number: int, head: bytes) -> bool:
        """Whether a frame is not left over from the round before: its salt says so, or that it continues the sum."""
        return number < self._summed or head[8:16] == self._salt

    def _whole(self, seed: _Sum) -> tuple[int, int]:
        """How many frames from the first on SQLite reads, and how many add up whatever their salts are."""
        read = 0
        for number in range(self._count):
            head = self._head(number)
            seed = _summed(self._order, head[:8] + self._file.read(self._page_size), seed)
            if seed != _sum_in(head[16:24]):
                return read, number
            read += read == number and head[8:16] == self._salt
        return read, self._count


def _sum_in(eight: bytes) -> _Sum:
    return struct.unpack(">2I", eight)


def _summed(order: str, data: bytes, seed: _Sum = (0, 0)) -> _Sum:
    """The checksum of what follows on what was summed up to ``seed``."""
    one, two = seed
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for first, second in zip(words[::2], words[1::2], strict=True):
        one = (one + first + two) & 0xFFFFFFFF
        two = (two + second + one) & 0xFFFFFFFF
    return one, two
