"""The data sheet: who was marked, kept or released between two days, as a CSV, a text table or a page to print.

The columns are the keeper's choice. It is a list of the keeper's own records and no programme's form.
"""

import csv
import io
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from pathlib import Path
from typing import get_args

from pupawatch.errors import NotUnderstood
from pupawatch.exchange import html, new_file
from pupawatch.exchange.cells import guarded
from pupawatch.model.adult_settings import SheetColumn
from pupawatch.model.entries import Entry
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.text import not_among, shown
from pupawatch.model.times import local_day
from pupawatch.words.entries import entry_words

COLUMNS: tuple[str, ...] = get_args(SheetColumn)

Table = list[list[str]]
"""Rows of plain words, the header first; made safe where they are written."""

_STYLE = """
body { font: 14px/1.4 sans-serif; margin: 2rem; color: #000; background: #fff; }
h1 { font-size: 1.2rem; }
table { border-collapse: collapse; }
th, td { border: 1px solid #999; padding: .25rem .6rem; text-align: left; }
thead { display: table-header-group; } tr { break-inside: avoid; }
@media print { body { margin: 0; font-size: 10pt; } }
"""
_INSTANT = timedelta(microseconds=1)
_CAUTION = "Marking and releasing may need a permit; your marking programme and your local law come first."


def table(pupae: Iterable[Pupa], settings: Settings, since: date, until: date, columns: Iterable[str] = ()) -> Table:
    """The sheet of those whose date lies from ``since`` to ``until``, both included, in the order of that date.

    The date is the day in the keeper's zone on which it was released, else kept, else marked. columns: those of the
    settings where none are named. Raises NotUnderstood for a column there is none of.
    """
    chosen = list(columns) or list(settings.keeper.sheet.columns)
    for column in chosen:
        if column not in COLUMNS:
            raise NotUnderstood(not_among("column of the sheet", column, COLUMNS))
    dated = [(_ended(pupa), pupa) for pupa in pupae]
    rows = [(entry.happened, pupa) for entry, pupa in dated if entry and since <= _local_day(entry, settings) <= until]
    rows.sort(key=lambda row: (row[0], row[1].id))
    header = [column.replace("_", " ") for column in chosen]
    return [header, *([_CELLS[column](pupa, settings) for column in chosen] for _, pupa in rows)]


def as_csv(rows: Table) -> str:
    """The sheet as CSV; a cell that a spreadsheet would take for a formula is marked as text."""
    text = io.StringIO()
    csv.writer(text).writerows([guarded(shown(cell)) for cell in row] for row in rows)
    return text.getvalue()


def as_text(rows: Table) -> str:
    """The sheet as a table of plain text, to read or to print as it is."""
    from rich.cells import cell_len

    told = [[shown(cell) for cell in row] for row in rows]
    widths = [max(cell_len(cell) for cell in column) for column in zip(*told, strict=True)]

    def line(cells: list[str]) -> str:
        padded = (cell + " " * (width - cell_len(cell)) for cell, width in zip(cells, widths, strict=True))
        return "  ".join(padded).rstrip()

    return "\n".join([line(told[0]), line(["─" * width for width in widths]), *map(line, told[1:])]) + "\n"


def as_html(rows: Table, title: str) -> str:
    """The sheet as one page that prints well, loads nothing and runs nothing."""

    def line(cells: list[str], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{html.safe(cell)}</{tag}>" for cell in cells) + "</tr>\n"

    head, body = line(rows[0], "th"), "".join(line(row, "td") for row in rows[1:])
    table = f"<table><thead>{head}</thead><tbody>\n{body}</tbody></table>\n"
    return html.page(title, _STYLE, f"{table}<p>{html.safe(_CAUTION)}</p>")


def write(rows: Table, path: Path, title: str) -> None:
    """Write the sheet to a new file, by its ending as .csv, .html or .txt."""
    ways: dict[str, Callable[[], str]] = {
        ".csv": lambda: new_file.FOR_SPREADSHEETS + as_csv(rows),
        ".html": lambda: as_html(rows, title),
        ".txt": lambda: as_text(rows),
    }
    if path.suffix.lower() not in ways:
        raise NotUnderstood(f"{path.name}: the name must end in .csv, .html or .txt.")
    new_file.write(path, ways[path.suffix.lower()]())


def _ended(pupa: Pupa) -> Entry | None:
    return pupa.released or pupa.kept or pupa.marked


def _day_of(entry: Entry | None, settings: Settings) -> str:
    return _local_day(entry, settings).isoformat() if entry else ""


def _local_day(entry: Entry, settings: Settings) -> date:
    """The local day of an entry. One of which only the day is known happened by its end, a midnight: that day's."""
    return local_day(entry.happened - _INSTANT, settings.zone)


_CELLS: dict[str, Callable[[Pupa, Settings], str]] = {
    "mark": lambda pupa, _: pupa.marked.code if pupa.marked else "",
    "date": lambda pupa, settings: _day_of(_ended(pupa), settings),
    "sex": lambda pupa, _: pupa.sex,
    "origin": lambda pupa, settings: (pupa.origin or settings.keeper.sheet.origin).replace("-", " "),
    "wings": lambda pupa, _: pupa.wings.condition if pupa.wings else "",
    "release_place": lambda pupa, _: pupa.released.place if pupa.released else "",
    "label": lambda pupa, _: pupa.label,
    "species": lambda pupa, settings: settings.profile(pupa.species).name,
    "emerged": lambda pupa, settings: _day_of(pupa.emerged, settings),
    "marked": lambda pupa, settings: _day_of(pupa.marked, settings),
    "released": lambda pupa, settings: _day_of(pupa.released, settings),
    "kept": lambda pupa, _: pupa.kept.place if pupa.kept and not pupa.released else "",
    "findings": lambda pupa, _: "; ".join(entry_words(finding) for finding in pupa.findings),
}
