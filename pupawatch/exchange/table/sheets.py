"""A file of tables as sheets of cells: CSV of any delimiter and encoding, and spreadsheets.

Nothing in a file is run or fetched: of a formula only the value that was saved with it is read.
"""

import csv
import io
import os
import subprocess
import sys
import zipfile
from collections.abc import Iterable
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange.cells import unguarded
from pupawatch.exchange.lines import MOST_COLUMNS

Cell = str | int | float | bool | date | datetime | time | None
"""What stands in a cell: a text, or what the spreadsheet had typed it as; None where it is empty."""

LARGEST_BYTES = 50_000_000
"""A larger file is no keeper's table."""
LARGEST_INFLATED_BYTES = 300_000_000
"""What the parts of a spreadsheet may come to when they are unpacked."""
MOST_ROWS = 200_000
LONGEST_CELL = 10_000
"""Characters of a cell; a longer one is no remark."""
_SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".ods", ".xlsb")
_CHILD_BYTES = 2_000_000_000
_CHILD_SECONDS = 120
_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


class Sheet(NamedTuple):
    """One sheet. rows: with the number each has in the file, from 1; those without any cell are left out."""

    name: str
    rows: list[tuple[int, list[Cell]]]


def is_spreadsheet(path: Path) -> bool:
    """Whether a file is a spreadsheet, by its first bytes or its name. Raises Unusable where it cannot be read."""
    try:
        with disk.regular(path).open("rb") as file:
            first = file.read(4)
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None
    return first in (_ZIP, _OLE) or path.suffix.lower() in _SPREADSHEETS


def read(path: Path) -> list[Sheet]:
    """The sheets of a file that hold anything, in order.

    Raises Unusable where it cannot be read, NotUnderstood where it is no table, or larger than a keeper's can be.
    """
    spread = is_spreadsheet(path)
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise NotUnderstood(
            f"{path} has {size / 1e6:.0f} MB; {LARGEST_BYTES // 1_000_000} MB are the most that is read."
        )
    sheets = _spreadsheet(path) if spread else [Sheet("", _numbered(_csv(path)))]
    return [sheet for sheet in sheets if sheet.rows]


def _numbered(rows: Iterable[tuple[int, list[Cell]]]) -> list[tuple[int, list[Cell]]]:
    return [(number, row) for number, row in rows if any(cell is not None for cell in row)]


# -- text


def _csv(path: Path) -> Iterable[tuple[int, list[Cell]]]:
    text = _decoded(path)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))
    line = 1
    try:
        for count, cells in enumerate(rows):
            if len(cells) > MOST_COLUMNS or count >= MOST_ROWS:
                raise NotUnderstood(f"{path}, line {line}: {_too_large(len(cells))}")
            if wide := next((cell for cell in cells if len(cell) > LONGEST_CELL), ""):
                raise NotUnderstood(
                    f"{path}, line {line}: a cell of {len(wide)} characters; {LONGEST_CELL} are the most."
                )
            yield line, [unguarded(cell.strip()) or None for cell in cells]
            line = rows.line_num + 1
    except csv.Error as error:
        raise NotUnderstood(f"{path}, line {rows.line_num}: not a table ({error}).") from None


def _too_large(columns: int) -> str:
    return f"{columns} columns; {MOST_COLUMNS} columns and {MOST_ROWS} rows is the most that can be read."


def _decoded(path: Path) -> str:
    """The text of a file: by its mark of order, else UTF-8, else as Windows writes western Europe's letters."""
    data = path.read_bytes()
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeError:
            continue
        if "\0" in text:
            break
        return text
    raise Unusable(f"{path} is neither text nor a spreadsheet; save it as “CSV UTF-8” or as .xlsx and try again.")


def _delimiter(text: str) -> str:
    """The sign that splits most of the first lines into the same number of cells, more than one; a comma if none."""
    best, chosen = (0, 0), ","
    sample = text[:20_000]
    for sign in ";\t|,":
        try:
            counts = [len(row) for row in csv.reader(io.StringIO(sample, newline=""), delimiter=sign) if row][:60]
        except csv.Error:
            continue
        split = [count for count in counts if count > 1]
        if split:
            usual = max(set(split), key=lambda count: (split.count(count), count))
            best, chosen = max((best, chosen), ((split.count(usual), usual), sign), key=lambda one: one[0])
    return chosen


# -- spreadsheets, read by python-calamine in a process of their own


def _spreadsheet(path: Path) -> list[Sheet]:
    _check_inflated(path)
    package = Path(__file__).parents[3]
    done = subprocess.run(
        [sys.executable, "-m", "pupawatch.exchange.table.sheets", str(path)],
        capture_output=True,
        timeout=_CHILD_SECONDS,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(package), os.environ.get("PYTHONPATH", "")])},
        check=False,
    )
    if done.returncode == 2:
        raise NotUnderstood(f"{path}: {done.stderr.decode(errors='replace').strip()}")
    if done.returncode != 0:
        raise NotUnderstood(f"{path} is not a spreadsheet that can be read, or too large; save its table as CSV.")
    return [
        Sheet(name, _numbered((n, [_typed(c) for c in row]) for n, row in rows))
        for name, rows in _unpacked(done.stdout)
    ]


def _unpacked(data: bytes) -> list[tuple[str, list[tuple[int, list[Any]]]]]:
    return msgspec.msgpack.decode(data, type=list[tuple[str, list[tuple[int, list[Any]]]]])


def _check_inflated(path: Path) -> None:
    """Raise NotUnderstood for a packed file that unpacks to more than a keeper's table, counted while unpacking."""
    if not zipfile.is_zipfile(path):
        return
    left = LARGEST_INFLATED_BYTES
    try:
        with zipfile.ZipFile(path) as packed:
            for member in packed.infolist():
                with packed.open(member) as part:
                    while piece := part.read(1 << 20):
                        left -= len(piece)
                        if left < 0:
                            raise NotUnderstood(
                                f"{path} unpacks to more than {LARGEST_INFLATED_BYTES // 1_000_000} MB."
                            )
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError, EOFError, ValueError):
        raise NotUnderstood(f"{path} is damaged or locked by a password; open it and save it anew.") from None


def _typed(cell: Any) -> Cell:
    if isinstance(cell, dict):
        kind, text = next(iter(cell.items()))
        if kind == "t":
            return time.fromisoformat(text)
        return date.fromisoformat(text) if kind == "d" else datetime.fromisoformat(text)
    if isinstance(cell, str):
        return cell.strip() or None
    known: Cell = int(cell) if isinstance(cell, float) and cell.is_integer() else cell
    return known


def _plain(cell: Any) -> Any:
    """A cell for the other process. A moment at midnight is a day: spreadsheets know no other."""
    if isinstance(cell, datetime):
        return {"d": cell.date().isoformat()} if cell.time() == time() else {"m": cell.isoformat()}
    if isinstance(cell, date):
        return {"d": cell.isoformat()}
    if isinstance(cell, time):
        return {"t": cell.isoformat()}
    if cell == "" or cell is None:
        return None
    return cell if isinstance(cell, str | int | float | bool) else str(cell)


def _child(path: str) -> int:
    """Read a spreadsheet under a limit of memory, and write its cells to the standard output."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_CHILD_BYTES, _CHILD_BYTES))
    except (ImportError, ValueError, OSError):  # no such limits on this system
        pass
    import python_calamine as calamine

    book = calamine.CalamineWorkbook.from_path(path)
    sheets = []
    for name in book.sheet_names:
        sheet = book.get_sheet_by_name(name)
        if sheet.total_width > MOST_COLUMNS or sheet.total_height > MOST_ROWS:
            print(
                f"sheet {name[:40]!r} has {sheet.total_height} rows and {_too_large(sheet.total_width)}",
                file=sys.stderr,
            )
            return 2
        rows = []
        for number, row in enumerate(sheet.iter_rows(), 1):
            cells = [_plain(cell) for cell in row]
            if any(isinstance(cell, str) and len(cell) > LONGEST_CELL for cell in cells):
                print(f"row {number}: a cell of more than {LONGEST_CELL} characters", file=sys.stderr)
                return 2
            rows.append((number, cells))
        sheets.append((name, rows))
    sys.stdout.buffer.write(msgspec.msgpack.encode(sheets))
    return 0


if __name__ == "__main__":
    raise SystemExit(_child(sys.argv[1]))
