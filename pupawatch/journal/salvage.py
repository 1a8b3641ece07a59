"""Every entry and reading that still reads out of a damaged journal.

The pages of the file and of the log beside it are looked through one by one, without SQLite and without following the
tree: what a damaged page would hide is found all the same. Nothing is taken that does not add up to its own checksum.
The layout of pages, cells and records is the one documented as "Database File Format" on sqlite.org.
"""

import struct
from collections.abc import Iterator
from itertools import chain
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import NamedTuple, cast

from msgspec import DecodeError

from pupawatch.errors import Unusable
from pupawatch.journal import address, log, merge, schema
from pupawatch.journal.file import Journal
from pupawatch.journal.questions import Row
from pupawatch.model.entries import decode_bare

_LARGEST_RECORD = 1 << 26
_FIXED = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 7: 8}
"""How many bytes a number takes, by the type that the record names for it."""


class Found(NamedTuple):
    """What could be read: entries by the id of their row, with their number in the file; and readings."""

    entries: dict[str, tuple[int, Row]]
    readings: set[tuple[str, int, float]]


def into(journal: Journal, found: Found) -> merge.Merged:
    """Take in what was found and is not there yet, in the order in which it was written, inside ``journal.writing``."""
    rows = [row for _, row in sorted(found.entries.values()) if _is_entry(row)]
    return merge.take_in(journal, rows)._replace(readings=journal.add_readings(sorted(found.readings)))


def _is_entry(row: Row) -> bool:
    """Whether a row holds an entry, be it one of a newer version."""
    try:
        decode_bare(row[5])
    except DecodeError:
        return False
    return True


def read(journal: Path) -> Found:
    """Every entry and reading that is whole, of a file in any state and of its log; nothing where it cannot be read.

    Raises Unusable where this process has it open, for its locks would be lost.
    """
    found = Found({}, set())
    with address.raw(journal) as may_read:
        if not may_read:
            raise Unusable(f"{journal} is open here; close it before its pages are looked through.")
        try:
            with journal.open("rb") as file, mmap(file.fileno(), 0, access=ACCESS_READ) as data:
                for size in dict.fromkeys((_page_size(data[:100]), 4096)):
                    _read_into(found, _Pages(data, journal, size))
        except (OSError, ValueError):  # a file of no bytes cannot be mapped; the log may still be there
            _read_into(found, _Pages(b"", journal, 4096))
    return found


def _read_into(found: Found, pages: "_Pages") -> None:
    for page in pages.all():
        for number, record in pages.records(page):
            if len(record) == 8 and schema.adds_up(record[1:7], record[7]):
                row = cast(Row, tuple(cast(bytes, text).decode() for text in record[1:7]))
                found.entries.setdefault(row[0], (number, row))
            elif len(record) == 4:
                found.readings.update(_reading(*record))


def _reading(sensor: object, at: object, celsius: object, crc: object) -> Iterator[tuple[str, int, float]]:
    """The reading of a record, where it is one."""
    if isinstance(sensor, bytes) and isinstance(at, int) and isinstance(celsius, int | float):
        value = float(celsius)  # SQLite keeps a round number as an integer
        if schema.reading_adds_up(sensor, at, value, crc):
            yield sensor.decode(), at, value


def _page_size(data: bytes) -> int:
    size = int.from_bytes(data[16:18], "big")
    size = 65536 if size == 1 else size
    return size if size in (512, 1024, 2048, 4096, 8192, 16384, 32768, 65536) else 4096


class _Pages:
    """The pages of a file and its log, of one size."""

    def __init__(self, data: mmap | bytes, journal: Path, size: int) -> None:
        self._data = data
        self._size = size
        self._logged: dict[int, list[bytes]] = {}
        for frame in log.frames(journal):
            if len(frame.data) == size:
                self._logged.setdefault(frame.page, []).append(frame.data)

    def all(self) -> Iterator[bytes]:
        """Every page, and every later state of it in the log."""
        for start in range(0, len(self._data), self._size):
            yield self._data[start : start + self._size]
        yield from chain.from_iterable(self._logged.values())

    def records(self, page: bytes) -> Iterator[tuple[int, list[object]]]:
        """Every record whose cell the page points to, with its row number (0 in an index), whatever the page's kind."""
        for start, leaf_of_table, skipped in ((8, True, 0), (8, False, 0), (12, False, 4)):
            # The count of cells may be damaged too; a pointer to nowhere, or to nonsense, does no harm.
            for at in range(start, len(page) - 1, 2):
                cell = int.from_bytes(page[at : at + 2], "big")
                if cell < start:
                    break
                try:
                    yield self._record(page, cell + skipped, leaf_of_table)
                except (IndexError, struct.error):
                    continue

    def _record(self, page: bytes, at: int, leaf_of_table: bool) -> tuple[int, list[object]]:
        length, at = _varint(page, at)
        number = 0
        if leaf_of_table:
            number, at = _varint(page, at)
        payload = self._payload(page, at, length, leaf_of_table)
        head_length, at = _varint(payload, 0)
        types, body = [], head_length
        while at < head_length:
            kind, at = _varint(payload, at)
            types.append(kind)
            if len(types) > 8:
                raise IndexError
        values: list[object] = []
        for kind in types:
            taken = _FIXED.get(kind, (kind - 12) // 2 if kind >= 12 else 0)
            part = payload[body : body + taken]
            if len(part) < taken:
                raise IndexError
            values.append(_value(kind, part))
            body += taken
        return number, values

    def _payload(self, page: bytes, at: int, length: int, leaf_of_table: bool) -> bytes:
        """The bytes of a record, gathered from the pages it runs over into."""
        if length > _LARGEST_RECORD:
            raise IndexError
        usable = self._size
        most = usable - 35 if leaf_of_table else (usable - 12) * 64 // 255 - 23
        if length <= most:
            return page[at : at + length]
        least = (usable - 12) * 32 // 255 - 23
        here = least + (length - least) % (usable - 4)
        here = here if here <= most else least
        payload = bytearray(page[at : at + here])
        following = int.from_bytes(page[at + here : at + here + 4], "big")
        while following and len(payload) < length:
            more = self._page(following)
            following = int.from_bytes(more[:4], "big")
            payload += more[4 : 4 + length - len(payload)]
            if len(more) < 5:
                raise IndexError
        return bytes(payload)

    def _page(self, number: int) -> bytes:
        logged = self._logged.get(number)
        return logged[-1] if logged else self._data[(number - 1) * self._size : number * self._size]


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends."""
    value = 0
    for index in range(8):
        byte = data[at + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + index + 1
    return value << 8 | data[at + 8], at + 9


def _value(kind: int, part: bytes) -> object:
    if kind == 7:
        return struct.unpack(">d", part)[0]
    if kind in (8, 9):
        return kind - 8
    return int.from_bytes(part, "big", signed=True) if kind in _FIXED else part
