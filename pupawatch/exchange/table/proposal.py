"""What a keeper's sheet is taken for: proposed column by column with its reason, and asked where nothing shows it."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.notebook.row import Problem
from pupawatch.exchange.table import dates
from pupawatch.exchange.table.dates import ORDERS, Moment
from pupawatch.exchange.table.mapping import Mapping
from pupawatch.exchange.table.sheets import Cell, Sheet
from pupawatch.exchange.table.words import Words, plain
from pupawatch.model.codes import SEXES
from pupawatch.model.settings import Settings
from pupawatch.model.text import counted, nearest, shown

REASON = "why left out"
"""The heading under which rows that were left out carry their reason; passed over when they come in again."""

PAIRS = {"formed": ("formed_from", "formed_to"), "emerged": ("emerged_from", "emerged_to")}
STAGED = {"prepupa_at": "prepupa", "darkening_at": "darkening", "clear_at": "clear"}
TIMES = {"formed_time": "formed", "emerged_time": "emerged"}
DATED = (*PAIRS, *STAGED, "formed_from", "formed_to", "emerged_from", "emerged_to", "moved_at", "loss_at", "marked_at",
         "released_at", "when")  # fmt: skip
PLACES = ("site", "moved_to", "emerged_place")
CODED = ("species", "wings", "outcome", "sex", "loss", "what")
FIELDS = ("label", *DATED, *TIMES, *PLACES, *CODED, "mark", "brood")
"""What a column can tell, besides "note" and "skip"."""

_HAPPENED = {"formed": "pupated", "emerged": "emerged"}
_LOOKED_AT = 40
_MOST_UNKNOWN = 4
_LIKE = 0.8
_SHORT = 20
"""Characters; a longer cell says something."""


class Question(NamedTuple):
    """What nothing in the sheet decides. key: where its answer stands in a mapping; suggestion: "" for none."""

    key: tuple[str, ...]
    text: str
    answers: tuple[str, ...]
    suggestion: str = ""


class Column(NamedTuple):
    """What a column is taken for, and why. examples: cells before and after; unread: cells that could not be read."""

    heading: str
    field: str
    why: str
    examples: list[tuple[str, str]]
    unread: int


class Line(NamedTuple):
    """A row of the sheet as rows of a notebook. label: of its pupa; originals: the cells of the sheet as text."""

    number: int
    label: str
    rows: list[dict[str, str]]
    originals: list[list[str]]


class Proposal(NamedTuple):
    """A reading of a sheet: complete where no question is left. labels: by row; rows: how many of data; passed: those
    that are none, with their reason."""

    sheet: str
    header: list[str]
    columns: list[Column]
    questions: list[Question]
    lines: list[Line]
    problems: list[Problem]
    labels: dict[int, str]
    rows: int
    passed: list[tuple[int, str]]
    mapping: Mapping

    def told(self) -> list[str]:
        """The reading in words."""
        where = f"Sheet {self.sheet}: " if self.sheet else ""
        told = [f"{where}{counted(self.rows, 'row', 'rows')} of data."]
        for column in self.columns:
            examples = "; ".join(f"{before} → {after}" for before, after in column.examples)
            unread = f"; {counted(column.unread, 'cell', 'cells')} could not be read" if column.unread else ""
            told.append(
                f"  {column.heading}: {column.field} ({column.why}){unread}" + (f": {examples}" if examples else "")
            )
        told += [f"  row {number} is not read: {reason}" for number, reason in self.passed[:10]]
        if len(self.passed) > 10:
            told.append(f"  and {len(self.passed) - 10} more rows are not read")
        return told


def written(cell: Cell) -> str:
    """A cell as text."""
    return "" if cell is None else str(cell)


def propose(sheet: Sheet, settings: Settings, words: Words, kept: Iterable[Mapping]) -> Proposal | None:
    """The reading of a sheet with what is known of its header; None where it has no header of a keeper's table.

    kept: mappings, of which the one with the same header counts.
    """
    found = _header(sheet, words)
    if found is None:
        return None
    at, header, columns = found
    mapping = next((one.copy() for one in kept if one.header == header), Mapping(header))
    return _Reading(sheet, at, header, columns, settings, words, mapping).proposal()


def _header(sheet: Sheet, words: Words) -> tuple[int, list[str], list[int]] | None:
    """Where the header stands in the rows, its headings, each once, and in which columns of the sheet they stand."""
    best, at = 1, None
    for index, (_, cells) in enumerate(sheet.rows[:_LOOKED_AT]):
        fields = {_field(cell, words) for cell in cells if isinstance(cell, str)} - {""}
        known = len(fields)
        if known > best:
            best, at = known, index
    if at is None:
        return None
    width = max(len(cells) for _, cells in sheet.rows)
    filled = [any(col < len(cells) and cells[col] is not None for _, cells in sheet.rows[at:]) for col in range(width)]
    header: list[str] = []
    columns: list[int] = []
    for col in range(width):
        cells = sheet.rows[at][1]
        name = written(cells[col]) if col < len(cells) else ""
        name = shown(" ".join(name.split()))[:60]
        if not filled[col] or plain(name) == REASON:
            continue
        name = name or f"column {col + 1}"
        same = sum(1 for one in header if one == name or one.startswith(f"{name} ("))
        header.append(f"{name} ({same + 1})" if name in header else name)
        columns.append(col)
    return at, header, columns


def _bracketed(heading: str) -> str:
    """What stands in the brackets of a heading."""
    return " ".join(re.findall(r"[(\[](.*?)[)\]]", heading))


def _field(heading: str, words: Words) -> str:
    """What a heading is known to tell, "" where it is not known."""
    return words.columns.get(plain(heading)) or words.columns.get(plain(_bare(heading)), "")


def _bare(heading: str) -> str:
    """A heading without what stands in brackets."""
    return re.sub(r"[(\[].*?[)\]]", "", heading).strip()


class _Reading:
    """One sheet being read."""

    def __init__(
        self,
        sheet: Sheet,
        at: int,
        header: list[str],
        columns: list[int],
        settings: Settings,
        words: Words,
        mapping: Mapping,
    ) -> None:
        self.sheet, self.header, self.settings, self.words, self.mapping = sheet, header, settings, words, mapping
        self.columns = dict(zip(header, columns, strict=True))
        self.questions: list[Question] = []
        self.problems: list[Problem] = []
        self.labels: dict[int, str] = {}
        self.backwards: set[str] = set()
        self._years: dict[str, int | None] = {}
        self._meanings: dict[tuple[str, str], str] = {}
        self.why: dict[str, str] = {}
        self.orders: dict[str, str] = {}
        self.unread: Counter[str] = Counter()
        self.examples: dict[str, list[tuple[str, str]]] = {name: [] for name in header}
        self.titles = [written(cell) for _, cells in sheet.rows[:at] for cell in cells if cell is not None]
        self.passed: list[tuple[int, str]] = []
        self.fields = dict.fromkeys(header, "note")
        self.rows = self._data(sheet.rows[at], sheet.rows[at + 1 :])

    def proposal(self) -> Proposal:
        self._name_columns()
        for name in self._of(*DATED):
            self._order(name)
        for name in self._of(*CODED, *PLACES):
            self._ask_values(name)
        if self.fields and "label" not in self.fields.values() and not self.questions:
            text = "Which column names the pupa, a label of its own for each?"
            self.questions.append(Question(("label", "label"), text, tuple(self.header)))
        if not self.questions:
            for name in self.header:
                self.mapping.columns.setdefault(name, self.fields[name])
        lines = [] if self.questions else [self._line(number, cells) for number, cells in self.rows]
        if lines and "what" in self.fields.values():
            lines = _merged(lines)
        shown_columns = [
            Column(name, self.fields[name], self.why.get(name, ""), self.examples[name][:3], self.unread[name])
            for name in self.header
        ]
        return Proposal(
            self.sheet.name,
            self.header,
            shown_columns,
            self.questions,
            lines,
            self.problems,
            self.labels,
            len(self.rows),
            self.passed,
            self.mapping,
        )

    # -- rows

    def _data(
        self, head: tuple[int, list[Cell]], rows: Sequence[tuple[int, list[Cell]]]
    ) -> list[tuple[int, dict[str, Cell]]]:
        """The rows of data; a repeated header, sums and lone remarks are passed over, and told."""
        data: list[tuple[int, dict[str, Cell]]] = []
        above: dict[str, Cell] = {}
        for number, cells in rows:
            row = {name: cells[col] if col < len(cells) else None for name, col in self.columns.items()}
            filled = [cell for cell in row.values() if cell is not None]
            if not filled:
                continue
            first = plain(filled[0])
            if cells == head[1]:
                self.passed.append((number, "the headings again"))
            elif self.words.cells.get(first.split()[0] if first else "") == "sums" and len(filled) < len(above or row):
                self.passed.append((number, f"sums: {written(filled[0])[:40]}"))
            elif len(filled) == 1 and len(row) > 2 and isinstance(filled[0], str) and " " in filled[0]:
                self.passed.append((number, f"a remark: {filled[0][:40]}"))
            else:
                for name, cell in row.items():
                    if isinstance(cell, str) and self.words.cells.get(plain(cell)) == "ditto":
                        row[name] = above.get(name)
                data.append((number, row))
                above = row
        return data

    def _cells(self, name: str) -> list[Cell]:
        return [row[name] for _, row in self.rows if not self._says_nothing(row[name])]

    def _says_nothing(self, cell: Cell) -> bool:
        if not isinstance(cell, str):
            return cell is None
        return len(cell) < _SHORT and self.words.cells.get(plain(cell)) == "nothing"

    def _of(self, *fields: str) -> list[str]:
        return [name for name in self.header if self.fields[name] in fields]

    # -- what each column tells

    def _name_columns(self) -> None:
        for name in self.header:
            if given := self.mapping.columns.get(name):
                if given not in (*FIELDS, "note", "skip"):
                    raise NotUnderstood(f"{name}: {given!r} is not one of {', '.join((*FIELDS, 'note', 'skip'))}.")
                self.fields[name], self.why[name] = given, "as you said"
                continue
            field = _field(name, self.words)
            if not field:
                self._maybe(name)
                continue
            if field in DATED and (said := self._no_dates(name)):
                self.why[name] = f"{said}; kept in the note"
                figures = [written(cell) for cell in self._cells(name) if re.search(r"\d", written(cell))]
                if figures:
                    text = f"“{name}” looks like {field}, but {said} that can be read, as in {figures[0][:40]}."
                    self._ask(("columns", name), text + " Keep it in the note?", "note", "skip")
                continue
            self.fields[name], self.why[name] = field, "its heading"
        self._settle_date()
        for field in FIELDS:
            same = self._of(field)
            if len(same) > 1:
                if all(name in self.mapping.columns for name in same):
                    raise NotUnderstood(f"Only one column can tell {field}, not {', '.join(same)}.")
                named = " and ".join(f"“{name}”" for name in same)
                for name in same:
                    if name not in self.mapping.columns:
                        self._ask(
                            ("columns", name),
                            f"{named} both look like {field}. What does “{name}” tell?",
                            field,
                            "note",
                        )
        for alone, with_ in (("moved_at", "moved_to"), ("moved_to", "moved_at")):
            if self._of(alone) and not self._of(with_, "what"):
                for name in self._of(alone):
                    self.fields[name], self.why[name] = "note", f"{with_} is told nowhere"

    def _ask(self, key: tuple[str, ...], text: str, *answers: str, suggestion: str = "") -> None:
        self.questions.append(Question(key, text, answers, suggestion))

    def _no_dates(self, name: str) -> str:
        """Why a column cannot be one of dates, "" where it can."""
        cells = self._cells(name)
        readable = sum(self._reads(cell) for cell in cells)
        return "" if not cells or readable else f"none of its {len(cells)} cells is a date"

    def _reads(self, cell: Cell) -> bool:
        return any(dates.moment(cell, self.words, order, 2024) for order in ORDERS.values())

    def _maybe(self, name: str) -> None:
        """A heading that is not known: like one that is, or else a remark."""
        self.why[name] = "its heading is not known"
        told = plain(_bare(name))
        near = nearest(told, self.words.columns, 1, _LIKE)
        holding = [word for word in self.words.columns if len(word) > 3 and re.search(rf"\b{re.escape(word)}\b", told)]
        word = near[0] if near else max(holding, key=len, default="")
        field = self.words.columns.get(word, "note")
        cells = self._cells(name)
        if field in ("note", "when", "what") or not cells or (field in DATED and self._no_dates(name)):
            if cells and all(self._reads(cell) for cell in cells):
                self._ask(("columns", name), f"“{name}” holds dates. Of what?", *DATED, "note", "skip")
            return
        self._ask(("columns", name), f"Is “{name}” the same as {field}?", field, "note", "skip", suggestion=field)

    def _settle_date(self) -> None:
        """A column that is only called a date: of the events, where the table has such, or else asked."""
        if self._of("what"):
            if not self._of("when"):
                for name in self._of("what"):
                    self.fields[name], self.why[name] = "note", "no column dates these events"
            return
        for name in self._of("when"):
            choices = [field for field in ("formed", "emerged", "released_at") if not self._of(field)]
            self._ask(
                ("columns", name),
                f"“{name}” is the date of what?",
                *choices,
                "note",
                suggestion=choices[0] if choices else "note",
            )

    # -- dates

    def _order(self, name: str) -> None:
        """Decide the order of a column's dates by its own cells, or ask."""
        cells = self._cells(name)
        texts = [cell for cell in cells if dates.numbers(cell)]
        given = self.mapping.dates.get(name) or self.mapping.dates.get("*")
        if given and given not in ORDERS:
            raise NotUnderstood(f"{name}: {given!r} is not one of {', '.join(ORDERS)}.")
        if any(dates.is_year_day_month(cell) for cell in cells):
            self.backwards.add(name)
        open_, against = dates.orders(texts)
        names = {code: word for word, code in ORDERS.items()}
        if texts and len(open_) == 1:
            code = open_.pop()
            given = names[code]
            self.why[name] += f", {given} because of {against['mdy' if code == 'dmy' else 'dmy']}"
        elif texts and not given:
            given = self._said(name, open_) or self._ask_order(name, [names[code] for code in open_], texts)
        elif texts:
            self.why[name] += f", {given} as you said"
        if given:
            self.orders[name] = given
        self._ask_swapped(name, cells, texts)
        bare = any(dates.lacks_year(cell, self.words) for cell in cells)
        if bare and not self._told_year(name):
            self._ask(("years", "*"), f"“{name}” has dates without a year. Which year?")

    def _said(self, name: str, open_: set[str]) -> str:
        """The order that a heading names, as in “Date (dd/mm/yy)”, "" where it names none."""
        shape = re.sub(r"[^dmyj]+", "", _bracketed(name).casefold())
        order = re.sub(r"(.)\1+", r"\1", shape)
        said = next((word for word, code in ORDERS.items() if order in (code, code.replace("y", "")) and order), "")
        if not said or ORDERS[said] not in open_:
            return ""
        self.why[name] += f", {said} as it says"
        return said

    def _ask_order(self, name: str, choices: list[str], texts: list[Cell]) -> str:
        why = "nothing in the column shows" if choices else "its cells contradict each other:"
        key = ("dates", "*" if choices else name)
        if not any(question.key == key for question in self.questions):
            some = ", ".join(str(cell) for cell in texts[:3])
            text = f"“{name}”: {why} which number is the day, as in {some}."
            self._ask(key, text, *(word for word in ORDERS if not choices or word in choices))
        return ""

    def _ask_swapped(self, name: str, cells: list[Cell], texts: list[Cell]) -> None:
        """Days that a spreadsheet typed, none after the 12th, beside texts: it may have read the month as the day."""
        typed = [cell for cell in cells if isinstance(cell, date)]
        if not (typed and texts) or any(cell.day > 12 for cell in typed) or self.mapping.typed.get(name):
            return
        if given := self.mapping.typed.get("*"):
            self.mapping.typed[name] = given
        elif not any(question.key[0] == "typed" for question in self.questions):
            first = typed[0]
            text = (
                f"“{name}” holds text such as {texts[0]} beside {counted(len(typed), 'date', 'dates')} that "
                "the spreadsheet made, none after the 12th of a month: it may have swapped day and month. "
                f"Is {first:%d %B %Y} right (as-is)?"
            )
            self._ask(("typed", "*"), text, "as-is", "swapped")

    def _year(self, name: str) -> int | None:
        """The year of a column's dates that have none; None where nothing tells it."""
        if name not in self._years:
            self._years[name] = None if self._over_new_year(name) else self._told_year(name)
        return self._years[name]

    def _over_new_year(self, name: str) -> bool:
        """Whether dates without a year lie on both sides of a new year, so that no one year is right for them."""
        order = ORDERS.get(self.orders.get(name, ""))
        bare = [cell for cell in self._cells(name) if dates.lacks_year(cell, self.words)]
        months = {found.day.month for cell in bare if (found := dates.moment(cell, self.words, order, 2024))}
        return min(months, default=6) <= 2 and max(months, default=6) >= 11

    def _told_year(self, name: str) -> int | None:
        if year := self.mapping.years.get(name) or self.mapping.years.get("*"):
            return year
        told = {
            int(y) for text in (*self.titles, self.sheet.name, name) for y in re.findall(r"(?<!\d)20\d\d(?!\d)", text)
        }
        return told.pop() if len(told) == 1 else None

    def _moment(self, name: str, cell: Cell) -> Moment | None:
        if name in self.backwards and dates.begins_with_year(cell):
            return None
        order = ORDERS.get(self.orders.get(name, ""))
        found = dates.moment(cell, self.words, order, self._year(name))
        if found and not isinstance(cell, str) and self.mapping.typed.get(name) == "swapped":
            return found._replace(day=found.day.replace(month=found.day.day, day=found.day.month))
        return found

    # -- words

    def _codes(self, field: str) -> tuple[str, ...]:
        care = self.settings.care
        wings, losses = tuple(care.wings), tuple(f"loss:{cause}" for cause in care.losses)
        own = {
            "species": tuple(self.settings.species),
            "wings": (*wings, *losses),
            "outcome": (*wings, *losses, "nothing"),
            "sex": SEXES,
            "loss": tuple(care.losses),
            "what": tuple(dict.fromkeys(self.words.values["what"].values())),
        }
        return own[field]

    def _meaning(self, field: str, cell: Cell) -> str:
        """The code of a word, "" where it is not known."""
        key = field, written(cell)
        if key not in self._meanings:
            self._meanings[key] = self._code(field, plain(cell))
        return self._meanings[key]

    def _code(self, field: str, text: str) -> str:
        given = self.mapping.values.get(field, {})
        if known := given.get(text):
            if known not in (*self._codes(field), "note"):
                raise NotUnderstood(f"{text}: {known!r} is not one of {', '.join((*self._codes(field), 'note'))}.")
            return known
        codes = {plain(code): code for code in self._codes(field)}
        if field == "species":
            codes |= {plain(p.name): key for key, p in self.settings.species.items()}
            codes |= {plain(p.scientific_name): key for key, p in self.settings.species.items()}
        codes |= {word: code for word, code in self.words.values.get(field, {}).items() if code in self._codes(field)}
        if field in ("wings", "outcome"):
            codes = {
                word: f"loss:{code}"
                for word, code in self.words.values["loss"].items()
                if f"loss:{code}" in self._codes(field)
            } | codes
        if field == "outcome":
            codes |= {word: code for word, code in self.words.values["wings"].items() if code in self._codes(field)}
        sided = re.sub(r"\b(l|r|left|right|both|lw|rw|fw|hw)\b", "", text).strip() if field == "wings" else text
        return codes.get(text) or codes.get(sided) or ("note" if given.get("*") else "")

    def _ask_values(self, name: str) -> None:
        field = self.fields[name]
        if field in PLACES:
            self._ask_places(name)
            return
        unknown = list(dict.fromkeys(plain(cell) for cell in self._cells(name) if not self._meaning(field, cell)))
        if len(unknown) > _MOST_UNKNOWN:
            some = ", ".join(f"“{word[:30]}”" for word in unknown[:3])
            text = f"“{name}” holds {len(unknown)} words that are not known ({some} …). Keep them in the note?"
            self._ask(("values", field, "*"), text, "note")
            return
        for word in unknown:
            near = nearest(word, self._codes(field), 1, 0.6)
            choices = (*self._codes(field), "note")
            if not any(question.key == ("values", field, word) for question in self.questions):
                self._ask(
                    ("values", field, word),
                    f"“{name}”: what does “{word[:40]}” mean?",
                    *choices,
                    suggestion=(*near, "")[0],
                )

    def _ask_places(self, name: str) -> None:
        known = {plain(place.name): place.name for place in self.settings.places}
        given = self.mapping.values.get("place", {})
        for word in dict.fromkeys(plain(cell) for cell in self._cells(name)):
            if word in known or word in given or any(q.key == ("values", "place", word) for q in self.questions):
                continue
            figures = re.findall(r"\d+", word)
            like = [one for one in nearest(word, known, 3, _LIKE) if re.findall(r"\d+", one) == figures]
            if (headed := f"{plain(_bare(name))} {word}") in known:  # “1” under “Cage”
                like.insert(0, headed)
            if like:
                text = f"“{name}”: is “{word}” your place {known[like[0]]}, or a new one?"
                self._ask(("values", "place", word), text, known[like[0]], "new", suggestion=known[like[0]])

    def _place(self, cell: Cell) -> str:
        key = "place", written(cell)
        if key not in self._meanings:
            self._meanings[key] = self._named_place(cell)
        return self._meanings[key]

    def _named_place(self, cell: Cell) -> str:
        known = {plain(place.name): place.name for place in self.settings.places}
        given = self.mapping.values.get("place", {}).get(plain(cell), "new")
        return known.get(plain(cell)) or (given if given != "new" else " ".join(written(cell).split()))

    # -- a row

    def _line(self, number: int, row: dict[str, Cell]) -> Line:
        parts: dict[str, str] = {}
        staged: list[tuple[str, str]] = []
        notes: list[str] = []
        moments: dict[str, Moment] = {}
        places: dict[str, str] = {}
        what = ""
        if event := self._of("what"):
            what = "" if self._says_nothing(row[event[0]]) else self._meaning("what", row[event[0]])
            if what == "note":
                notes.append(f"{event[0]}: {written(row[event[0]])}")
        for name, cell in row.items():
            field = self.fields[name]
            if self._says_nothing(cell) or field in ("skip", "what"):
                continue
            after = ""
            if field in DATED:
                moment = self._moment(name, cell)
                if moment is None:
                    self._wrong(number, name, f"“{written(cell)[:40]}” is not a date that can be read here")
                    continue
                after = moment.cell()
                kind = what if field == "when" else field
                if kind in ("note", ""):
                    notes.append(f"{name}: {written(cell)}")
                else:
                    moments[kind] = moment
            elif field in TIMES:
                continue
            elif field in PLACES:
                after = places[field] = self._place(cell)
            elif field in CODED:
                after = self._meaning(field, cell)
                self._put(parts, notes, field, name, cell, after)
            elif field == "note":
                heading = self.words.columns.get(plain(name)) == "note"
                notes.append(written(cell) if heading else f"{name}: {written(cell)}")
            else:
                after = parts[field] = written(cell)
            if after and len(self.examples[name]) < 3 and (written(cell), after) not in self.examples[name]:
                self.examples[name].append((written(cell), after))
        for name in self._of(*TIMES):
            self._refine(number, name, row[name], moments)
        self._check_order(number, moments)
        if what and "site" in places and what != "formed":
            told = places.pop("site")
            target = {"moved_at": "moved_to", "emerged": "emerged_place"}.get(what)
            if target:
                places[target] = told
            else:
                notes.append(told)
        if what == "loss_at":
            parts.setdefault("loss", "unknown")
        for field, moment in moments.items():
            if field in PAIRS:
                parts.update(zip(PAIRS[field], moment.cells(), strict=True))
            elif field in STAGED:
                staged.append((STAGED[field], moment.cell()))
            elif field in ("formed_from", "emerged_from"):
                parts[field] = moment.cells()[0]
            elif field in ("formed_to", "emerged_to"):
                parts[field] = moment.cells()[1]
            else:
                parts[field] = moment.cell()
        parts.update(places)
        if notes:
            parts["note"] = "; ".join(notes)
        label = self.labels[number] = parts.get("label", "")
        rows = [parts]
        for index, (stage, at) in enumerate(sorted(staged, key=lambda one: list(STAGED.values()).index(one[0]))):
            cells = {"stage": stage, "stage_seen_at": at}
            if index == 0:
                rows[0].update(cells)
            else:
                rows.append({"label": label, **cells})
        return Line(number, label, rows, [[written(cell) for cell in row.values()]])

    def _check_order(self, number: int, moments: dict[str, Moment]) -> None:
        """Dates of a row that cannot follow each other are a slip, or were read wrongly."""
        told = [field for field in ("formed", "emerged", "released_at") if field in moments]
        for first, second in pairwise(told):
            if moments[second].day < moments[first].day:
                name = (*self._of(second), *self._of("when"))[0]
                day, earlier = (f"{moments[one].day.day} {moments[one].day:%B %Y}" for one in (second, first))
                self._wrong(number, name, f"is read as {day}, before it {_HAPPENED[first]} on {earlier}")

    def _put(self, parts: dict[str, str], notes: list[str], field: str, name: str, cell: Cell, code: str) -> None:
        if code == "note" or (
            field == "wings" and plain(cell) not in self.words.values["wings"] and plain(cell) != code
        ):
            notes.append(f"{name}: {written(cell)}")
        if code.startswith("loss:"):
            parts.setdefault("loss", code.removeprefix("loss:"))
        elif code not in ("note", "nothing"):
            parts["wings" if field == "outcome" else field] = code

    def _refine(self, number: int, name: str, cell: Cell, moments: dict[str, Moment]) -> None:
        """A time of day beside its date."""
        field = TIMES[self.fields[name]]
        if self._says_nothing(cell) or field not in moments:
            return
        part = dates.clock(cell, self.words)
        if part is None:
            self._wrong(number, name, f"“{written(cell)[:40]}” is not a time of day")
        else:
            moments[field] = Moment(moments[field].day, *part)

    def _wrong(self, number: int, name: str, reason: str) -> None:
        self.unread[name] += 1
        self.problems.append(Problem(number, name, reason))


def _merged(lines: list[Line]) -> list[Line]:
    """Events of a pupa laid together: a row of the notebook takes those that fill other cells."""
    merged: dict[str, list[dict[str, str]]] = {}
    first: dict[str, Line] = {}
    originals: dict[str, list[list[str]]] = {}
    for line in sorted(lines, key=lambda line: not any("formed_to" in row for row in line.rows)):
        originals.setdefault(line.label, []).extend(line.originals)
        first.setdefault(line.label, line)
        rows = merged.setdefault(line.label, [])
        for row in line.rows:
            for into in rows:
                shared = (into.keys() & row.keys()) - {"label"}
                if all(into[key] == row[key] for key in shared):
                    into.update(row)
                    break
            else:
                rows.append(dict(row))
    return [first[label]._replace(rows=rows, originals=originals[label]) for label, rows in merged.items()]
