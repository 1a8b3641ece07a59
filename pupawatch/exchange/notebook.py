"""The notebook a keeper brings: a CSV with one row a pupa, read into history.

More rows with the same label, without a formed column, add to the pupa above: a further move, a further stage.
Every cell that cannot be understood is reported with its line and column; nothing is guessed.
"""

import csv
import io
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.model.entries import (
    STAGES,
    Emerged,
    Entry,
    Fell,
    Found,
    Hanging,
    Lost,
    Marked,
    Moved,
    Note,
    OfPupa,
    Released,
    Seen,
    Sexed,
    Wings,
)
from pupawatch.model.ids import digest, entry_id
from pupawatch.model.settings import Settings
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, checked
from pupawatch.model.times import iso_exact, parse_span

COLUMNS = (
    "label", "species", "site", "formed_from", "formed_to", "stage", "stage_seen_at", "fell_at", "moved_to",
    "moved_at", "move_method", "move_reason", "emerged_from", "emerged_to", "emerged_place", "wings", "sex", "loss",
    "loss_at", "mark", "marked_at", "released_at", "note",
)  # fmt: skip

_FORMED = ("formed_from", "formed_to")
_NOTHING = frozenset({"", "na", "n/a", "-", "?", "none"})
"""Cells that say nothing, as met in real rearing files."""


class _When(NamedTuple):
    """When something happened. derived: the end is no cell's word but what is known otherwise, as late as may be.

    A derived end is no part of what an entry is: it may be another one when the same file is read tomorrow.
    """

    since: datetime | None
    until: datetime
    derived: bool = False


class Problem(NamedTuple):
    """A cell that cannot be understood. line: of the file, the header is line 1."""

    line: int
    column: str
    reason: str

    def __str__(self) -> str:
        return f"line {self.line}, {self.column}: {self.reason}"


class Notebook(NamedTuple):
    """What a file says: the entries, drafted without act and time of writing, and what could not be read."""

    entries: list[Entry]
    problems: list[Problem]
    labels: dict[str, str]
    """The label of each pupa by its id."""
    rows: int


class Holder(NamedTuple):
    """A pupa of the journal that holds a label. prepupa: it is still a hanging caterpillar there."""

    pupa: str
    where: str
    prepupa: bool


def read(path: Path, settings: Settings, now: datetime, holder: Callable[[str], Holder | None]) -> Notebook:
    """Read a notebook. holder: who holds a label in the journal already, if anybody.

    Raises Unusable where the file cannot be read as text, NotUnderstood where its header is not a notebook's.
    """
    rows = csv.reader(io.StringIO(_text(path), newline=""), delimiter=_delimiter(path), strict=True)
    try:
        header = [cell.strip().lower() for cell in next(rows, [])]
        _check_header(header, path)
        reader = _Reader(settings, now, holder)
        for cells in rows:
            if any(cell.strip() for cell in cells):
                reader.row(rows.line_num, header, cells)
    except csv.Error as error:
        raise NotUnderstood(f"{path}, line {rows.line_num}: not a table of comma-separated values ({error}).") from None
    return Notebook(reader.entries, reader.problems, reader.labels, reader.rows)


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise Unusable(
            f"{path}, line {line}: the file is not UTF-8 text; save it as “CSV UTF-8” and try again."
        ) from None
    if "\0" in text:
        raise Unusable(f"{path} holds zero bytes: it is not a text file; save it as “CSV UTF-8” and try again.")
    return text


def _delimiter(path: Path) -> str:
    with path.open(encoding="utf-8-sig") as file:
        header = file.readline()
    return max(",;\t", key=header.count)


def _check_header(header: list[str], path: Path) -> None:
    unknown = [name for name in header if name and name not in COLUMNS]
    twice = sorted({name for name in header if name and header.count(name) > 1})
    wrong = []
    if "label" not in header:
        wrong.append("there is no column “label”")
    if not set(_FORMED) & set(header):
        wrong.append("there is neither “formed_from” nor “formed_to”")
    if unknown:
        wrong.append(f"unknown columns: {', '.join(repr(name[:30]) for name in unknown[:5])}")
    if twice:
        wrong.append(f"columns that stand twice: {', '.join(twice)}")
    if wrong:
        raise NotUnderstood(f"{path}, line 1: {'; '.join(wrong)}. The columns of a notebook are: {', '.join(COLUMNS)}.")


class _Begun(NamedTuple):
    """The pupa that holds a label so far. named: its label, species and site; known_from: the first that is known
    of it; finished: when it was lost or let go, or at least emerged; prepupa: not known to have pupated."""

    pupa: str
    line: int
    named: dict[str, str]
    known_from: datetime
    finished: datetime | None
    prepupa: bool


class _Reader:
    """Turns rows into entries, one pupa after another."""

    def __init__(self, settings: Settings, now: datetime, holder: Callable[[str], Holder | None]) -> None:
        self.settings = settings
        self.now = now
        self.holder = holder
        self.entries: list[Entry] = []
        self.problems: list[Problem] = []
        self.labels: dict[str, str] = {}
        self.rows = 0
        self._open: dict[str, _Begun] = {}

    def row(self, line: int, header: list[str], cells: list[str]) -> None:
        self.rows += 1
        if len(cells) > len(header):
            reason = f"{len(cells)} cells under {len(header)} columns; is a comma missing its quotes?"
            self.problems.append(Problem(line, f"column {len(header) + 1}", reason))
            return
        row = _Row(line, dict(zip(header, (cell.strip() for cell in cells), strict=False)), self)
        label = row.word("label", lambda text: checked(_unguarded(text), "the label", LONGEST_LABEL))
        if not label:
            row.problem("label", "is empty; every row names its pupa")
            return
        before = self._open.get(label)
        if before is None or (any(row.has(name) for name in _FORMED) and not before.prepupa):
            entries = self._begin(row, label, before)
        elif before.prepupa and (formed := row.between(*_FORMED)):
            self._open[label] = before._replace(prepupa=False)
            entries = [row.entry(Found, before.pupa, formed, before.named), *row.more(before)]
        else:
            entries = row.more(before)
        if len(self.problems) == row.problems_before:
            self.entries += entries

    def _begin(self, row: "_Row", label: str, before: _Begun | None) -> list[Entry]:
        """The entries of a row that begins a pupa; complains where its label is another living pupa's."""
        held = None if before else self.holder(label)
        begun, first = row.begin(label, held.pupa if held and held.prepupa else "")
        if begun is None or first is None:
            return []
        entries = [first, *row.more(begun)]
        if before and (before.finished is None or before.finished > first.earliest):
            row.problem(
                "label",
                f"{label} is the pupa of line {before.line} too: two animals under one number; "
                "if the first is gone, give it a loss (unknown is one)",
            )
        if held and held.pupa != begun.pupa:
            row.problem("label", f"{label} is taken by a pupa in {held.where} that the journal knows already")
        ends = [e.happened for e in entries if isinstance(e, Lost | Released)]
        ends = ends or [e.happened for e in entries if isinstance(e, Emerged)]
        self._open[label] = begun._replace(finished=min(ends, default=None))
        self.labels[begun.pupa] = label
        return entries


class _Row:
    """One line of the file."""

    def __init__(self, line: int, cells: dict[str, str], reader: _Reader) -> None:
        self.line = line
        self.cells = cells
        self.reader = reader
        self.settings = reader.settings
        self.problems_before = len(reader.problems)

    def problem(self, column: str, reason: str) -> None:
        self.reader.problems.append(Problem(self.line, column, reason))

    def has(self, column: str) -> bool:
        return self.cells.get(column, "").strip().lower() not in _NOTHING

    def word(self, column: str, check: Callable[[str], str]) -> str:
        """The cell, checked; "" where it says nothing or is wrong."""
        if not self.has(column):
            return ""
        try:
            return check(self.cells[column])
        except NotUnderstood as error:
            self.problem(column, str(error))
            return ""

    def choice(self, column: str, allowed: Iterable[str]) -> str:
        def check(text: str) -> str:
            if text.lower() not in allowed:
                raise NotUnderstood(f"{text[:30]!r} is none of {', '.join(allowed)}")
            return text.lower()

        return self.word(column, check)

    def place(self, column: str) -> str:
        return self.word(column, lambda text: checked(_unguarded(text), "the place's name", LONGEST_NAME))

    def time(self, column: str) -> _When | None:
        """The cell as a moment, or as a whole day where it is only a date; None where it says nothing."""
        if not self.has(column):
            return None
        try:
            since, until = parse_span(self.cells[column], self.settings.zone)
        except NotUnderstood as error:
            self.problem(column, str(error))
            return None
        if (since or until) > self.reader.now:
            self.problem(column, f"{self.cells[column]} lies in the future")
            return None
        return _When(since, min(until, self.reader.now))

    def between(self, first: str, second: str) -> _When | None:
        """Two cells as an interval; None where both say nothing."""
        begin, end = self.time(first), self.time(second)
        if begin is None and end is None:
            return None
        since = begin.since if begin else None
        if end is None:
            # Without an end it had happened by the next thing that is dated, or at least by now.
            later = [until for until in self._known() if since is None or until >= since]
            return _When(since, min(later, default=self.reader.now), derived=True)
        if since and since > end.until:
            self.problem(first, f"is after {second}")
        return _When(since, end.until)

    def _known(self) -> list[datetime]:
        """The end of everything else that the row dates."""
        columns = ("stage_seen_at", "fell_at", "moved_at", "emerged_to", "loss_at", "marked_at", "released_at")
        ends = []
        for column in columns:
            try:
                ends.append(min(parse_span(self.cells.get(column, ""), self.settings.zone).until, self.reader.now))
            except NotUnderstood:
                continue  # empty, or reported where it is read
        return ends

    def begin(self, label: str, known_as: str) -> tuple[_Begun, Entry] | tuple[None, None]:
        """The pupa that this row begins, and its first entry. known_as: the id the journal knows it by already."""
        formed = self.between(*_FORMED)
        hanging = formed is None and self.cells.get("stage", "").lower() == "prepupa"
        if hanging:
            formed = self._needed("stage_seen_at", "stage")
        if formed is None and (ends := self._known()):
            formed = _When(None, min(ends))
        if formed is None:
            self.problem("formed_to", "the row says nowhere when anything happened; give at least one time")
            return None, None
        told = ["" if at is None else iso_exact(at) for at in (formed.since, None if formed.derived else formed.until)]
        named = {
            "label": label,
            "species": self.choice("species", self.settings.species) or self.settings.keeper.species,
            "place": self.place("site") or "unknown place",
        }
        begun = _Begun(
            known_as or entry_id(formed.since or formed.until, digest("pupa", label, *told)),
            self.line,
            named,
            formed.since if formed.derived and formed.since else formed.until,
            finished=None,
            prepupa=hanging,
        )
        return begun, self.entry(Hanging if hanging else Found, begun.pupa, formed, named)

    def more(self, begun: _Begun) -> list[Entry]:
        """What the row says of a pupa beyond how it began."""
        known_from = begun.known_from
        told: list[tuple[type[OfPupa], _When | None, dict[str, Any]]] = []
        stage = self.choice("stage", ("prepupa", *STAGES))
        if stage == "prepupa" and not (begun.prepupa and begun.line == self.line):
            told.append((Hanging, self._needed("stage_seen_at", "stage"), begun.named))
        elif stage and stage != "prepupa":
            told.append((Seen, self._needed("stage_seen_at", "stage"), {"stage": stage}))
        if self.has("fell_at"):
            told.append((Fell, self.time("fell_at"), {"reason": "fallen"}))
        if self.has("moved_to") or self.has("moved_at"):
            told.append((Moved, self._needed("moved_at", "moved_to"), self._move()))
        wings = self.choice("wings", self.settings.care.wings)
        sex = self.choice("sex", ("female", "male"))
        mark = self.word("mark", lambda text: checked(_unguarded(text), "the mark", LONGEST_LABEL))
        marked, released, lost_at = self.time("marked_at"), self.time("released_at"), self.time("loss_at")
        emerged = self.between("emerged_from", "emerged_to")
        if emerged is None and (wings or mark or marked or released):
            # An adult was seen, so it had emerged, by then or at least by now.
            seen = marked or released
            emerged = _When(known_from, max(known_from, seen.until if seen else self.reader.now), derived=True)
        if emerged:
            told.append((Emerged, emerged, {"place": self.place("emerged_place")}))
        adult = emerged or released or marked or _When(None, max(self._known(), default=known_from))
        told += [
            (kind, when or adult, {field: said})
            for kind, when, field, said in (
                (Wings, None, "condition", wings),
                (Sexed, None, "sex", sex),
                (Marked, marked, "code", mark),
                (Lost, lost_at, "cause", self.choice("loss", self.settings.care.losses)),
                (Note, _When(None, known_from), "text", self._note()),
            )
            if said
        ]
        if released:
            told.append((Released, released, {}))
        return [self.entry(kind, begun.pupa, when, fields) for kind, when, fields in told if when is not None]

    def _move(self) -> dict[str, str]:
        if not self.has("moved_to"):
            self.problem("moved_to", "is empty, but moved_at is not: where was it moved to?")
        # A named reason makes the move an emergency; other words are the keeper's remark and waive nothing.
        reason = self.cells.get("move_reason", "").strip().lower().replace(" ", "-")
        return {
            "to": self.place("moved_to"),
            "method": self.choice("move_method", self.settings.care.methods),
            "emergency": reason if reason in self.settings.care.emergencies else "",
        }

    def _note(self) -> str:
        return self.word("note", lambda text: checked(_unguarded(text), "the note", LONGEST_NOTE))

    def _needed(self, column: str, beside: str) -> _When | None:
        if not self.has(column):
            self.problem(column, f"is empty, but {beside} is not: when was it?")
            return None
        return self.time(column)

    def entry(self, kind: type[OfPupa], pupa: str, when: _When, fields: dict[str, str]) -> Entry:
        since = when.since
        if since == when.until and kind not in (Found, Emerged):
            since = None
        told = ["" if at is None else iso_exact(at) for at in (since, None if when.derived else when.until)]
        return kind(
            id=entry_id(since or when.until, digest(pupa, kind.__name__, *told, *fields.values())),
            act="",
            since=since,
            happened=when.until,
            recorded=self.reader.now,
            zone=self.settings.zone,
            pupa=pupa,
            history=True,
            **fields,
        )


def _unguarded(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell[1:2] in ("=", "+", "-", "@", "\t", "'") else cell
