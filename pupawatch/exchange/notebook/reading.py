"""The notebook a keeper brings: a CSV with one row a pupa, read into history.

More rows with the same label, without a formed column, add to the pupa above: a further move, a further stage.
Every cell that cannot be understood is reported with its line and column; nothing is guessed.
"""

import csv
import re
from collections.abc import Callable, Iterable
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import NamedTuple

from pupawatch import disk
from pupawatch.errors import NotUnderstood
from pupawatch.exchange.cells import unguarded
from pupawatch.exchange.lines import LONGEST_LINE, check_columns, lines
from pupawatch.exchange.notebook.row import FORMED, Context, Problem, Row
from pupawatch.exchange.staging import Begun, Staging
from pupawatch.model.entries import Emerged, Entry, Found, Hanging, Lost, Released
from pupawatch.model.labels import checked_label
from pupawatch.model.settings import Settings

COLUMNS = (
    "label", "species", "site", "formed_from", "formed_to", "stage", "stage_seen_at", "fell_at", "moved_to",
    "moved_at", "move_method", "move_reason", "emerged_from", "emerged_to", "emerged_place", "wings", "sex", "loss",
    "loss_at", "mark", "marked_at", "released_at", "brood", "note",
)  # fmt: skip


MOST_PROBLEMS = 10_000
"""After so many cells that cannot be understood the rest is not looked at."""


class Notebook(NamedTuple):
    """What a file says: the entries, drafted without act and time of writing, and what could not be read."""

    entries: list[Entry]
    problems: list[Problem]
    rows: int


class Holder(NamedTuple):
    """A pupa of the journal with a certain label. begins: the first that is known of it; ended: when it was lost, let
    go or at least emerged, None where it is still in care; prepupa: as a hanging caterpillar; entries: the ids of all
    that is recorded about it."""

    pupa: str
    where: str
    begins: datetime
    ended: datetime | None
    prepupa: bool
    entries: frozenset[str]


def is_notebook(path: Path) -> bool:
    """Whether the first line names the columns of a notebook. A file that cannot be read says so when it is read."""
    try:
        with disk.regular(path).open("rb") as file:
            first = file.readline(LONGEST_LINE).decode("utf-8-sig", errors="replace")
    except OSError:
        return True
    header = {cell.strip().strip('"').lower() for cell in re.split("[,;\t]", first)}
    return "label" in header and not header.isdisjoint(FORMED)


def read(path: Path, settings: Settings, now: datetime, known: Callable[[str], Iterable[Holder]]) -> Notebook:
    """Read a notebook into memory (see ``lay_out``)."""
    with Staging() as staging:
        problems, rows = lay_out(path, staging, settings, now, known)
        return Notebook(list(staging.entries()), problems, rows)


def lay_out(
    path: Path,
    staging: Staging,
    settings: Settings,
    now: datetime,
    known: Callable[[str], Iterable[Holder]],
    seen: Callable[[int], None] = lambda _: None,
) -> tuple[list[Problem], int]:
    """Read a notebook row by row into ``staging``; what could not be read, and how many rows there are.

    known: the pupae of the journal that carry a label. seen: gets the number of characters read. Raises Unusable where
    the file cannot be read as text, NotUnderstood where its header is not a notebook's.
    """
    text = lines(path, seen=seen)
    first = next(text, "")
    rows = csv.reader(chain([first], text), delimiter=max(",;\t", key=first.count), strict=True)
    try:
        header = [cell.strip().lower() for cell in next(rows, [])]
        check_columns(path, 1, len(header))
        _check_header(header, path)
        reader = Reader(settings, now, known, staging)
        line = rows.line_num + 1
        for cells in rows:
            if any(cell.strip() for cell in cells):
                staging.put(reader.row(line, header, cells))
            if len(reader.problems) >= MOST_PROBLEMS:
                reader.problems.append(Problem(line, "label", "the rows from here on were not checked"))
                break
            line = rows.line_num + 1  # a cell in quotes may span lines; a row is named by its first
    except csv.Error as error:
        raise NotUnderstood(f"{path}, line {rows.line_num}: not a table of comma-separated values ({error}).") from None
    return reader.problems, reader.rows


def _check_header(header: list[str], path: Path) -> None:
    unknown = [name for name in header if name and name not in COLUMNS]
    twice = sorted({name for name in header if name and header.count(name) > 1})
    wrong = []
    if "label" not in header:
        wrong.append("there is no column “label”")
    if not set(FORMED) & set(header):
        wrong.append("there is neither “formed_from” nor “formed_to”")
    if unknown:
        wrong.append(f"unknown columns: {', '.join(repr(name[:30]) for name in unknown[:5])}")
    if twice:
        wrong.append(f"columns that appear twice: {', '.join(twice)}")
    if wrong:
        raise NotUnderstood(f"{path}, line 1: {'; '.join(wrong)}. The columns of a notebook are: {', '.join(COLUMNS)}.")


class Reader:
    """Turns rows into entries, one pupa after another."""

    def __init__(
        self, settings: Settings, now: datetime, known: Callable[[str], Iterable[Holder]], staging: Staging
    ) -> None:
        self.now = now
        self.known = known
        self.staging = staging
        self.problems: list[Problem] = []
        self.rows = 0
        self._context = Context(settings, now, staging, self.problems)

    def row(self, line: int, header: list[str], cells: list[str]) -> list[Entry]:
        """The entries of a row; none where a cell cannot be understood, which is added to ``problems``."""
        self.rows += 1
        if len(cells) > len(header):
            reason = f"{len(cells)} cells under {len(header)} columns; is a comma missing its quotes?"
            self.problems.append(Problem(line, f"column {len(header) + 1}", reason))
            return []
        row = Row(line, dict(zip(header, (cell.strip() for cell in cells), strict=False)), self._context)
        label = row.word("label", lambda text: checked_label(unguarded(text)))
        if not label:
            row.problem("label", "is empty; every row names its pupa")
            return []
        before = self.staging.begun(label)
        if before is None or (any(row.has(name) for name in FORMED) and not before.prepupa):
            entries = self._begin(row, label, before)
        else:
            entries = []
            if before.prepupa and (formed := row.between(*FORMED)):
                if formed.until < before.known_from:
                    row.problem("formed_to", f"{label} was seen as a prepupa after that")
                before = before._replace(prepupa=False, known_from=formed.until)
                entries = [row.entry(Found, before.pupa, formed, row.named(label, before.named))]
            entries += row.more(before)
            self.staging.begin(label, before._replace(finished=_finished(entries) or before.finished))
        return entries if len(self.problems) == row.problems_before else []

    def _begin(self, row: "Row", label: str, before: Begun | None) -> list[Entry]:
        """The entries of a row that begins a pupa; complains where its label is another living pupa's."""
        known = [] if before else list(self.known(label))
        start = row.start(label)
        if start is None:
            row.more(Begun("", row.line, {}, self.now, finished=None, prepupa=False))  # what else is wrong with it
            return []
        pupa = next((holder.pupa for holder in known if holder.prepupa), start.pupa)
        for holder in known:
            # What was brought in before is known again by its first entry.
            if row.entry(start.kind, holder.pupa, start.formed, start.named).id in holder.entries:
                pupa, known = holder.pupa, []
        first = row.entry(start.kind, pupa, start.formed, start.named)
        known_from = first.earliest if start.formed.derived else start.formed.until
        begun = Begun(pupa, row.line, start.named, known_from, finished=None, prepupa=start.kind is Hanging)
        entries = [first, *row.more(begun)]
        if before and (before.finished is None or before.finished > known_from):
            row.problem(
                "label",
                f"{label} is the pupa of line {before.line} too: two pupae under one label; "
                "if the first is gone, record a loss (unknown is one)",
            )
        begun = begun._replace(finished=_finished(entries))
        for holder in known:
            gone = begun.finished is not None and begun.finished <= holder.begins
            meets = holder.ended is None or begun.known_from < holder.ended
            if holder.pupa != pupa and meets and not gone:
                more = "" if holder.ended is None else ", from that time; a notebook adds entries and corrects none"
                row.problem("label", f"{label} is taken by a pupa in {holder.where} already in the journal{more}")
        if start.kind is Found and any(holder.prepupa and start.formed.until < holder.begins for holder in known):
            row.problem("formed_to", f"{label} was seen as a prepupa after that")
        self.staging.begin(label, begun)
        return entries


def _finished(entries: list[Entry]) -> datetime | None:
    ends = [e.happened for e in entries if isinstance(e, Lost | Released)]
    return min(ends or [e.happened for e in entries if isinstance(e, Emerged)], default=None)
