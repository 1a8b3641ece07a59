"""The table of a temperature logger, whatever its maker: read line by line, never guessed at twice.

What is settled before anything is kept, and shown first: the delimiter, the decimal sign, the unit, the column of the
time and its one layout for the whole file, and the sensors. Impossible readings are reported and left out.
"""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange.lines import NotText, lines
from pupawatch.model.text import LONGEST_NAME, checked, quoted, shown

COLDEST_C, HOTTEST_C = -40.0, 60.0
"""What a sensor in a home can read. Beyond lies a fault: −127 °C is an unplugged probe. Common practice."""
LARGEST_JUMP_C_PER_MINUTE = 30.0
"""A faster change is a fault. Common practice."""

LAYOUTS = (
    "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d.%m.%y %H:%M:%S", "%d.%m.%y %H:%M",
    "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %H:%M",
    "%d/%m/%y %H:%M:%S", "%d/%m/%y %H:%M", "%m/%d/%y %H:%M:%S", "%m/%d/%y %H:%M",
    "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M %p", "%d-%m-%Y %H:%M:%S", "%d-%m-%Y %H:%M",
)  # fmt: skip
"""The layouts that are tried beside ISO 8601; another one is named with --layout."""

ISO = "ISO 8601"
_YEARS = range(1900, 2200)
_SAMPLE_LINES = 200
_HEAD_LINES = 60
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")


class Reading(NamedTuple):
    """One value of one sensor: POSIX seconds and °C."""

    sensor: str
    at: int
    celsius: float


class Layout(NamedTuple):
    """How a file is to be read. columns: of each sensor, by number; fahrenheit: whether they are in °F."""

    encoding: str
    delimiter: str
    header_line: int
    time_columns: tuple[int, ...]
    time_layout: str
    columns: dict[str, int]
    fahrenheit: bool
    first: str

    def lines(self) -> list[str]:
        """The layout in words, for the keeper to agree with."""
        unit = "°F" if self.fahrenheit else "°C"
        return [
            f"Times are read as {self.time_layout}; the first is {self.first}.",
            f"Sensors, in {unit}: {', '.join(shown(name) for name in self.columns)}.",
        ]


class Left(NamedTuple):
    """What was left out, and why: how many lines of each fault, and the first line of each."""

    counts: dict[str, int]
    first_line: dict[str, int]

    def note(self, fault: str, line: int) -> None:
        """Count a fault."""
        self.counts[fault] = self.counts.get(fault, 0) + 1
        self.first_line.setdefault(fault, line)

    def lines(self) -> list[str]:
        """The faults in words."""
        return [
            f"Left out: {count} × {fault} (first on line {self.first_line[fault]})."
            for fault, count in self.counts.items()
        ]


def understand(path: Path, zone: str, sensor: str = "", layout: str = "") -> Layout:
    """Settle how the file is to be read, from its first lines.

    zone: IANA name of the zone its times are in, where they carry no offset. sensor: what to call the only sensor.
    layout: a strptime layout that settles the time. Raises NotUnderstood where anything stays open.
    """
    encoding, head = _head(path)
    delimiter = max(";\t,", key=lambda sign: sum(line.count(sign) for line in head[-20:]))
    try:
        rows = list(csv.reader(head, delimiter=delimiter))
    except csv.Error as error:
        raise NotUnderstood(f"{path}: its beginning is not a table of text ({error}).") from None
    begin, times = _where_the_table_begins(rows, layout, path)
    body = [row for row in rows[begin:] if len(row) > max(times)]
    texts = [_time_text(row, times) for row in body[:_SAMPLE_LINES]]
    time_layout = layout or _time_layout(texts, path)
    header = rows[begin - 1] if begin else []
    columns = _sensors(header, body, times, sensor, path)
    named = " ".join(header).lower() + " ".join(" ".join(row) for row in rows[:begin]).lower()
    fahrenheit = bool(re.search(r"°f|º?f\b|fahrenheit", named)) and not re.search(r"°c|celsius", named)
    first = _instant(texts[0], time_layout, ZoneInfo(zone), None)
    told = f"{first:%A %-d %B %Y, %H:%M} UTC" if first else texts[0]
    return Layout(encoding, delimiter, begin, times, time_layout, columns, fahrenheit, told)


def readings(
    path: Path, layout: Layout, zone: str, now: datetime, left: Left, seen: Callable[[int], None] = lambda _: None
) -> Iterator[Reading]:
    """Every good reading of the file, in its order, a line at a time. left: gets the faults. seen: gets bytes read."""
    before: dict[str, Reading] = {}
    previous: datetime | None = None
    where = ZoneInfo(zone)
    latest = now.timestamp()
    for number, cells in _rows(path, layout, seen):
        if number <= layout.header_line or not any(cell.strip() for cell in cells):
            continue
        if len(cells) <= max(layout.time_columns):
            left.note("a line too short", number)
            continue
        moment = _instant(_time_text(cells, layout.time_columns), layout.time_layout, where, previous)
        if moment is None:
            left.note("a time that is not of that layout, or never was in this zone", number)
            continue
        previous = moment
        at = int(moment.timestamp())
        if at > latest:
            left.note("a time in the future", number)
            continue
        for sensor, column in layout.columns.items():
            text = cells[column].strip() if column < len(cells) else ""
            if not text:
                continue
            celsius = _celsius(text, layout.fahrenheit)
            last = before.get(sensor)
            if celsius is None:
                left.note("a temperature that is not a number", number)
            elif not COLDEST_C <= celsius <= HOTTEST_C:
                left.note(f"a temperature outside {COLDEST_C:.0f} to {HOTTEST_C:.0f} °C, a fault of the sensor", number)
            elif last and abs(celsius - last.celsius) > LARGEST_JUMP_C_PER_MINUTE * max(1, abs(at - last.at) / 60):
                left.note("a jump of more than 30 °C in a minute, a fault of the sensor", number)
            else:
                before[sensor] = reading = Reading(sensor, at, celsius)
                yield reading


def _head(path: Path) -> tuple[str, list[str]]:
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        with suppress(NotText):
            head = list(islice(lines(path, encoding), _HEAD_LINES + _SAMPLE_LINES))
            if not head:
                raise NotUnderstood(f"{path} is empty.")
            return encoding, head
    raise Unusable(f"{path} is not a text file; export the logger's readings as CSV.")


def _rows(path: Path, layout: Layout, seen: Callable[[int], None]) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines(path, layout.encoding, seen), delimiter=layout.delimiter)
    try:
        yield from enumerate(reader, start=1)
    except csv.Error as error:
        raise NotUnderstood(f"{path}, line {reader.line_num}: not a table of text ({error}).") from None


def _where_the_table_begins(rows: Sequence[Sequence[str]], layout: str, path: Path) -> tuple[int, tuple[int, ...]]:
    """The row of the first reading, and the columns of its time: one, or a date and a time of day side by side."""
    for number, row in enumerate(rows[:_HEAD_LINES]):
        for column in range(len(row)):
            for columns in ((column,), (column, column + 1)):
                if columns[-1] < len(row) and _is_time(_time_text(row, columns), layout):
                    return number, columns
    raise NotUnderstood(
        f"{path}: no column holds times that are understood; name their layout, as in --layout '%d.%m.%Y %H:%M'."
    )


def _time_text(row: Sequence[str], columns: Sequence[int]) -> str:
    return " ".join(row[column].strip() for column in columns)


def _is_time(text: str, layout: str) -> bool:
    return any(_strptime(text, one) for one in ((layout,) if layout else (ISO, *LAYOUTS)))


def _time_layout(texts: Sequence[str], path: Path) -> str:
    """The one layout that fits the times of the sample; a few torn lines do not count."""
    fits = {one: sum(_strptime(text, one) is not None for text in texts) for one in (ISO, *LAYOUTS)}
    most = max(fits.values())
    fitting = [one for one, count in fits.items() if count == most]
    if most <= len(texts) / 2:
        raise NotUnderstood(f"{path}: times like {quoted(texts[0])} are not of one layout; name it with --layout.")
    readings = {tuple(_strptime(text, one) for text in texts): one for one in reversed(fitting)}
    if len(readings) > 1:
        # Day and month can be told apart where only one of the readings runs forward in small steps.
        forward = [one for times, one in readings.items() if _runs_forward(times)]
        if len(forward) == 1:
            return forward[0]
        raise NotUnderstood(
            f"{path}: {quoted(texts[0])} could be read as {' or as '.join(sorted(readings.values()))}; "
            "name the layout with --layout."
        )
    return next(iter(readings.values()))


def _runs_forward(times: Sequence[datetime | None]) -> bool:
    steps = [b - a for a, b in pairwise(times) if a is not None and b is not None]
    return bool(steps) and all(timedelta(0) <= step <= timedelta(days=2) for step in steps)


def _strptime(text: str, layout: str) -> datetime | None:
    try:
        if layout == ISO:
            return datetime.fromisoformat(text) if len(text) >= 16 else None
        return datetime.strptime(text, layout)
    except ValueError:
        return None


def _instant(text: str, layout: str, zone: ZoneInfo, previous: datetime | None) -> datetime | None:
    """The UTC instant; of an hour that comes twice the later one where the file has passed the earlier already."""
    local = _strptime(text, layout)
    if local is None:
        return None
    if local.year not in _YEARS:
        return None
    if local.tzinfo is not None:
        return local.astimezone(UTC)
    early, late = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if early == late:
        return early
    if early.astimezone(zone).replace(tzinfo=None) != local:
        return None  # skipped when the clocks went forward
    return late if previous is not None and previous >= early else early


def _sensors(
    header: Sequence[str], body: Sequence[Sequence[str]], times: Sequence[int], only: str, path: Path
) -> dict[str, int]:
    """The columns that hold temperatures, by the name of their sensor."""
    width = max(len(row) for row in body)
    numeric = [
        column
        for column in range(width)
        if column not in times and sum(_celsius(row[column], False) is not None for row in body if column < len(row))
        > len(body) / 2
    ]  # fmt: skip
    named = {column: header[column].strip() if column < len(header) else "" for column in numeric}
    warm = [c for c, name in named.items() if re.search(r"temp|°|º|\b[cf]\b|celsius|fahrenheit", name.lower())]
    chosen = warm or [
        c for c, name in named.items() if not re.search(r"\brh\b|humid|%|#|^no\.?$|batt|volt", name.lower())
    ]
    if not chosen:
        raise NotUnderstood(f"{path}: no column holds temperatures; give it a header with “temp”, °C or °F.")
    if only and len(chosen) > 1:
        raise NotUnderstood(
            f"{path} holds {len(chosen)} sensors ({', '.join(quoted(named[c]) for c in chosen)}); "
            "leave --sensor out and they keep these names."
        )
    names = [only or named[column] or path.stem for column in chosen]
    names = [name[: LONGEST_NAME - 3] for name in names]  # long names may differ only in their end
    names = [name if names.count(name) == 1 else f"{name} {at}" for at, name in enumerate(names, start=1)]
    checked_names = [checked(name, "the sensor's name", LONGEST_NAME) for name in names]
    return dict(zip(checked_names, chosen, strict=True))


def _celsius(text: str, fahrenheit: bool) -> float | None:
    text = text.strip().rstrip("°CFcfº ").strip()
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace(",", ".").replace("−", "-"))
    return round((value - 32) / 1.8, 3) if fahrenheit else value
