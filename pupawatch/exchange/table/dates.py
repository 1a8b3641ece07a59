"""Dates as keepers write them. The order of day and month is never guessed: a column shows it, or it is asked."""

import re
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

from pupawatch.exchange.table.sheets import Cell
from pupawatch.exchange.table.words import Words, plain
from pupawatch.model.times import YEARS

ORDERS = {"day-first": "dmy", "month-first": "mdy", "year-first": "ymd"}
"""How the three numbers of a date may stand, and what such an order is called in a mapping."""
_DAY = 24 * 60
_CLOSE_YEARS, _FAR_YEARS = 3, 5


class Moment(NamedTuple):
    """Some time on a local day, from one minute of it to another; the same twice for a moment. exact: a text with an
    offset, to be read as it is."""

    day: date
    begins: int = 0
    ends: int = _DAY
    exact: str = ""

    def cells(self) -> tuple[str, str]:
        """The begin and the end, as a notebook writes them."""
        if self.exact:
            return self.exact, self.exact
        if (self.begins, self.ends) == (0, _DAY):
            return self.day.isoformat(), self.day.isoformat()
        return self._at(self.begins), self._at(self.ends)

    def cell(self) -> str:
        """The moment, the day, or the interval ``begin/end`` of ISO 8601, in one cell of a notebook."""
        begins, ends = self.cells()
        return begins if begins == ends else f"{begins}/{ends}"

    def _at(self, minutes: int) -> str:
        day = self.day + timedelta(days=minutes // _DAY)
        return f"{day.isoformat()}T{minutes % _DAY // 60:02}:{minutes % 60:02}"


class Numbers(NamedTuple):
    """Three numbers of a date whose order is open, or two where the year is not written. rest: what stands behind."""

    parts: tuple[str, ...]
    rest: str

    def day(self, order: str, year: int | None) -> date | None:
        """The day in this order; None where there is none. year: where none is written."""
        if len(self.parts) == 2:
            if order == "ymd" or year is None:
                return None
            return _date(year, *(int(self.parts[order[:2].index(sign)]) for sign in "md"))
        written = self.parts[order.index("y")]
        if any(len(part) > 2 and part != written for part in self.parts) or len(written) not in (2, 4):
            return None
        found = {sign: int(self.parts[order.index(sign)]) for sign in "ymd"}
        return _date(found["y"] + (2000 if len(written) == 2 else 0), found["m"], found["d"])


_WEEKDAY = r"(?:(?:mon|tue|tues|wed|weds|thu|thur|thurs|fri|sat|sun)(?:day|nesday|rsday|sday|urday)?\.?,?\s+)?"
_NUMBERS = re.compile(
    _WEEKDAY + r"(\d{1,2})\s*([./-])\s*(\d{1,2})(?:\s*\2\s*(\d{4}|\d{2})\b|\.?(?![\d./-]))(.*)", re.IGNORECASE
)
_ISO = re.compile(_WEEKDAY + r"(\d{4})\s*([./-])\s*(\d{1,2})\s*\2\s*(\d{1,2})(?!\d)[T,]?(.*)", re.IGNORECASE)
_STAMP = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})", re.ASCII)
_DAY_NAME = re.compile(
    _WEEKDAY + r"(\d{1,2})(?:st|nd|rd|th)?\.?[\s-]+([^\W\d_]{3,})\.?,?(?:[\s-]+(\d{4}|\d{2})(?![\d:]))?(.*)",
    re.IGNORECASE,
)
_NAME_DAY = re.compile(
    _WEEKDAY + r"([^\W\d_]{3,})\.?[\s-]+(\d{1,2})(?:st|nd|rd|th)?(?:,?[\s-]+(\d{4}))?(?![\d:])(.*)", re.IGNORECASE
)
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2}(?:\.\d+)?)?\s*(a\.?m\.?|p\.?m\.?|h)?", re.IGNORECASE)


def numbers(cell: Cell) -> Numbers | None:
    """A text of numbers whose order is open, None for anything else."""
    match = _NUMBERS.fullmatch(cell.strip()) if isinstance(cell, str) else None
    if not match:
        return None
    return Numbers(tuple(part for part in (match[1], match[3], match[4]) if part), match[5].strip(" ,"))


def orders(cells: Iterable[Cell]) -> tuple[set[str], dict[str, str]]:
    """The orders in which every such text of a column is a date, and for each that is ruled out the text that does.

    A text that is a date in no order rules nothing out. Of years in two digits the reading stands whose years lie
    close together, where another's lie far apart.
    """
    open_ = set(ORDERS.values())
    against: dict[str, str] = {}
    years: dict[str, set[int]] = {order: set() for order in open_}
    for cell in cells:
        if (found := numbers(cell)) is None:
            continue
        days = {order: found.day(order, 2024) for order in ORDERS.values()}  # a leap year: 29 February is a day
        if not any(days.values()):
            continue
        for order, day in days.items():
            if day is None:
                against.setdefault(order, str(cell))
                open_.discard(order)
            elif len(found.parts) == 3:
                years[order].add(day.year)
    spans = {order: max(years[order]) - min(years[order]) if years[order] else 0 for order in open_}
    if spans and min(spans.values()) <= _CLOSE_YEARS:
        far = {order for order in open_ if spans[order] > _FAR_YEARS}
        against.update(dict.fromkeys(far, "the years"))
        open_ -= far
    return open_, against


def begins_with_year(cell: Cell) -> bool:
    """Whether a text is a date in numbers that begins with its year in four digits."""
    return isinstance(cell, str) and _ISO.fullmatch(cell.strip()) is not None


def is_year_day_month(cell: Cell) -> bool:
    """Whether a text can only be a date whose day stands between year and month: then its whole column is doubtful."""
    match = _ISO.fullmatch(cell.strip()) if isinstance(cell, str) else None
    return bool(match and int(match[3]) > 12 and _date(int(match[1]), int(match[4]), int(match[3])))


def lacks_year(cell: Cell, words: Words) -> bool:
    """Whether a cell is a date without its year."""
    if found := numbers(cell):
        return len(found.parts) == 2
    return moment(cell, words, None, None) is None and moment(cell, words, None, 2024) is not None


def moment(cell: Cell, words: Words, order: str | None, year: int | None) -> Moment | None:
    """What a cell of dates says; None where it cannot be read. order: of ``ORDERS``; year: of dates without one."""
    if isinstance(cell, datetime):
        minutes = cell.hour * 60 + cell.minute
        return Moment(cell.date(), minutes, minutes) if cell.year in YEARS else None
    if isinstance(cell, date):
        return Moment(cell) if cell.year in YEARS else None
    if not isinstance(cell, str):
        return None
    text = cell.strip()
    if _STAMP.fullmatch(text):
        return Moment(date.fromisoformat(text[:10]), exact=text) if _date(*map(int, text[:10].split("-"))) else None
    if found := numbers(text):
        day, rest = found.day(order, year) if order else None, found.rest
    elif match := _ISO.fullmatch(text):
        day, rest = _date(int(match[1]), int(match[3]), int(match[4])), match[5]
    else:
        day, rest = _named(text, words, year)
    if day is None or day.year not in YEARS:
        return None
    part = clock(rest, words)
    return Moment(day, *part) if part else None


def clock(cell: Cell, words: Words) -> tuple[int, int] | None:
    """The minutes of a day between which a time lies; the whole day for nothing, None where it cannot be read."""
    if isinstance(cell, datetime | time):
        return (cell.hour * 60 + cell.minute,) * 2
    if cell is None or not isinstance(cell, str):
        return None if cell is not None else (0, _DAY)
    text = cell.strip(" ,()")
    if not text:
        return 0, _DAY
    if hours := words.dayparts.get(plain(text)):
        begins, _, ends = hours.partition("-")
        return int(begins) * 60, int(ends) * 60
    match = _CLOCK.fullmatch(text)
    if not match or (match[2] is None and match[3] is None):
        return None
    hour, minute, half = int(match[1]), int(match[2] or 0), (match[3] or "").lower()[:1]
    if minute > 59 or hour > 23 or (half in "ap" and half and not 1 <= hour <= 12):
        return None
    if half in ("a", "p"):
        hour = hour % 12 + (12 if half == "p" else 0)
    return (hour * 60 + minute,) * 2


def _named(text: str, words: Words, year: int | None) -> tuple[date | None, str]:
    """A date whose month is a word, and what stands behind it."""
    for shape, at in ((_DAY_NAME, (1, 2)), (_NAME_DAY, (2, 1))):
        match = shape.fullmatch(text)
        month = words.months.get(plain(match[at[1]])) if match else None
        if match and month:
            written = match[3]
            its_year = (int(written) + (2000 if len(written) == 2 else 0)) if written else year
            return (_date(its_year, int(month), int(match[at[0]])) if its_year else None), match[4]
    return None, ""


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
