"""How the table of a temperature logger is to be read, settled from its beginning and never guessed at twice.

The delimiter, the encoding, the unit, the columns of the time and its one layout for the whole file, and the sensors:
in a column each, or named in a column of their own. Whatever stays open is asked for.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import timezone, tzinfo
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange.lines import NotText, check_columns, lines
from pupawatch.exchange.logger.times import instant, layout_of, time_text, where_the_table_begins, zone_of
from pupawatch.model.degrees import HOTTEST_C, Unit
from pupawatch.model.text import LONGEST_NAME, checked, quoted, shown

_SAMPLE_LINES = 200
_HEAD_LINES = 200
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")
_UNIT = re.compile(r"[°º]?\s*([CF])", re.IGNORECASE)
_NO_AIR = re.compile(
    r"\brh\b|humid|%|#|^(?:no?|nr|num|id|index|row|record)\.?$|batt|volt|dew|wet.?bulb|heat.?index|wind.?chill|feels|"
    r"pressure|\bh?pa\b|lux|light|co2"
)
"""What a column of numbers is called that holds no temperature of the air."""
_WITH_UNIT = re.compile(r"\d\s*[°º]?\s*([CF])$", re.IGNORECASE)
_KEPT_C = (5.0, 35.0)
"""Between these lies the middle of what a logger beside pupae says. Common practice."""
_FAR_LIKELIER_C = 6.0
"""By so much more must the other unit's reading miss that. Common practice."""
_WARMTH = re.compile(r"temp|°|º|\b[cf]\b|celsius|fahrenheit")
_NAMING = re.compile(r"sensor|probe|channel|device|name|location|place|station|logger|label|port")


class Layout(NamedTuple):
    """How a file is to be read.

    zone: of times without an offset. columns: of each sensor, by number; named_in: the column that names the sensor of
    each line, where all share one, and only: the one that is asked for ("": all); fahrenheit: whether they are in °F;
    unit_from: where that is from, "" where the file itself says so.
    """

    encoding: str
    delimiter: str
    header_line: int
    time_columns: tuple[int, ...]
    time_layout: str
    zone: tzinfo
    columns: dict[str, int]
    named_in: int | None
    only: str
    fahrenheit: bool
    first: str
    unit_from: str = ""

    def lines(self) -> list[str]:
        """The layout in words, for the keeper to agree with."""
        unit = "°F" if self.fahrenheit else "°C"
        named = ", ".join(shown(name) for name in self.columns) if self.named_in is None else "named line by line"
        return [
            f"Times are read as {self.time_layout}; the first is {self.first}.",
            f"Sensors, in {unit}{self.unit_from}: {self.only if self.named_in is not None and self.only else named}.",
        ]


def understand(
    path: Path, zone: str, sensor: str = "", layout: str = "", unit: Unit | None = None, usual: Unit = "C"
) -> Layout:
    """Settle how the file is to be read, from its first lines.

    zone: IANA name of the zone its times are in, where they carry no offset. sensor: what to call the only sensor, or
    which of several to read. layout: a strptime layout that settles the time. unit: of its temperatures, where the file
    names none; usual: the unit that is tried first then. Raises NotUnderstood where anything stays open.
    """
    encoding, head = _head(path)
    delimiter = max(";\t,", key=lambda sign: sum(line.count(sign) for line in head[-20:]))
    try:
        rows = list(csv.reader(head, delimiter=delimiter))
    except csv.Error as error:
        raise NotUnderstood(f"{path}: its beginning is not a table of text ({error}).") from None
    for line, row in enumerate(rows, start=1):
        check_columns(path, line, len(row))
    begin, times = where_the_table_begins(rows[:_HEAD_LINES], layout, path)
    body = [row for row in rows[begin:] if len(row) > max(times)][:_SAMPLE_LINES]
    texts = [time_text(row, times) for row in body]
    time_layout = layout or layout_of(texts, path)
    header = [name.strip() for name in rows[begin - 1]] if begin else []
    where = zone_of(time_text(header, times) if len(header) > max(times) else "", zone)
    table = _Table(path, header, body, times)
    chosen = table.warm_columns()
    units = {column: table.unit_of(column) for column in chosen}
    if set(units.values()) >= {"C", "F"}:  # the same told twice
        chosen = [column for column in chosen if units[column] != "F"]
    above = unit_in(" ".join(cell for row in rows[:begin] for cell in row), loosely=False)
    named = {units[column] or above for column in chosen}
    unit_from = "" if named - {None} else " (as you say)" if unit else " (the file names no unit; this one fits)"
    settled = ("F" if "F" in named else "C") if named - {None} else unit or table.likely_unit(chosen, usual)
    fahrenheit = settled == "F"
    if not unit_from:
        table.check_warmth(chosen, fahrenheit)
    named_in = table.naming_column() if len(chosen) == 1 else None
    columns = table.named(chosen, sensor if named_in is None else "")
    only = "" if named_in is None else sensor
    first = instant(texts[0], time_layout, where, None)
    fixed = f" (in {where}, as its header says)" if isinstance(where, timezone) else ""
    told = f"{first:%A} {first.day} {first:%B %Y, %H:%M} UTC{fixed}" if first else texts[0]
    return Layout(
        encoding, delimiter, begin, times, time_layout, where, columns, named_in, only, fahrenheit, told, unit_from
    )


def _head(path: Path) -> tuple[str, list[str]]:
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        with suppress(NotText):
            head = list(islice(lines(path, encoding), _HEAD_LINES + _SAMPLE_LINES))
            if not head:
                raise NotUnderstood(f"{path} is empty.")
            return encoding, head
    raise Unusable(f"{path} is not a text file; export the logger's readings as CSV.")


def _off(celsius: float) -> float:
    """How many °C a temperature lies outside those at which pupae are kept."""
    return max(_KEPT_C[0] - celsius, celsius - _KEPT_C[1], 0.0)


def unit_told(text: str) -> Unit | None:
    """The unit that stands behind the figures of a cell."""
    match = _WITH_UNIT.search(text.strip())
    return ("F" if match[1] in "Ff" else "C") if match else None


def celsius_of(text: str, fahrenheit: bool) -> float | None:
    """What a cell says in °C; None where it is no number."""
    text = text.strip().rstrip("°CFcfº ").strip()
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace(",", ".").replace("−", "-"))
    return round((value - 32) / 1.8, 3) if fahrenheit else value


def unit_in(text: str, loosely: bool = True) -> str | None:
    """The unit that words name, None where they name none or both. loosely: a C or F that stands alone counts."""
    alone = "|\\b{unit}\\b" if loosely else ""
    named = {"C": "[°º]\\s*C\\b|celsius|centigrade", "F": "[°º]\\s*F\\b|fahrenheit"}
    found = {unit for unit, name in named.items() if re.search(name + alone.format(unit=unit), text, re.IGNORECASE)}
    return found.pop() if len(found) == 1 else None


class _Table:
    """The beginning of the table: its header and the first of its rows."""

    def __init__(self, path: Path, header: Sequence[str], body: Sequence[Sequence[str]], times: Sequence[int]) -> None:
        self.path, self.header, self.body, self.times = path, header, body, times

    def _cells(self, column: int) -> list[str]:
        return [cell for row in self.body if column < len(row) and (cell := row[column].strip())]

    def _name(self, column: int) -> str:
        return self.header[column] if column < len(self.header) else ""

    def _others(self) -> Iterator[int]:
        return (column for column in range(max(len(row) for row in self.body)) if column not in self.times)

    def warm_columns(self) -> list[int]:
        """The columns that hold temperatures."""
        numeric = [
            column
            for column in self._others()
            if sum(celsius_of(cell, False) is not None for cell in self._cells(column)) > len(self.body) / 2
        ]
        air = [column for column in numeric if not _NO_AIR.search(self._name(column).lower())]
        chosen = [column for column in air if _WARMTH.search(self._name(column).lower())] or air
        if not chosen:
            raise NotUnderstood(f"{self.path}: no column holds temperatures; give it a header with “temp”, °C or °F.")
        return chosen

    def unit_of(self, column: int) -> str | None:
        """The unit of a column: as its cells say, or a column of units, or its own header."""
        said = {match[1].upper() for cell in self._cells(column)[:50] if (match := re.search(r"([CcFf])$", cell))}
        for other in () if said else self._others():
            units = [_UNIT.fullmatch(cell) for cell in self._cells(other)]
            if units and all(units):
                said = {unit[1].upper() for unit in units if unit}
        if len(said) > 1:
            raise NotUnderstood(f"{self.path}: some temperatures are in °C and some in °F; import them file by file.")
        return said.pop() if said else unit_in(self._name(column))

    def check_warmth(self, chosen: Sequence[int], fahrenheit: bool) -> None:
        """Raise NotUnderstood where many temperatures are such as only another unit explains."""
        read = [celsius_of(cell, fahrenheit) for column in chosen for cell in self._cells(column)]
        told = [celsius for celsius in read if celsius is not None]
        if not fahrenheit and sum(celsius > HOTTEST_C for celsius in told) > len(told) / 3:
            raise NotUnderstood(
                f"{self.path}: many temperatures are above {HOTTEST_C:.0f}; are they in °F? Write °F into the header."
            )

    def likely_unit(self, chosen: Sequence[int], usual: Unit) -> Unit:
        """The usual unit, where the temperatures are far likelier in it than in the other; else NotUnderstood asks."""
        told = sorted(
            c for column in chosen for cell in self._cells(column) if (c := celsius_of(cell, False)) is not None
        )
        middle = told[len(told) // 2]
        off: dict[Unit, float] = {"C": _off(middle), "F": _off((middle - 32) / 1.8)}
        other: Unit = "C" if usual == "F" else "F"
        if off[usual] + _FAR_LIKELIER_C <= off[other]:
            return usual
        span = f"{told[0]:g} to {told[-1]:g}"
        in_c = f"{(told[0] - 32) / 1.8:.0f} to {(told[-1] - 32) / 1.8:.0f} °C"
        raise NotUnderstood(
            f"{self.path} names no unit, and its temperatures begin with {span}: are they in °{other} (°F would be "
            f"{in_c})? Import it with --unit C or --unit F."
        )

    def naming_column(self) -> int | None:
        """The column that names the sensor of each line: words that change while the time does not, or called so."""
        texts = [time_text(row, self.times) for row in self.body]
        repeated = len(set(texts)) < 0.7 * len(texts)
        for column in self._others():
            cells = self._cells(column)
            words = {cell for cell in cells if celsius_of(cell, False) is None}
            if len(words) > 1 and len(cells) == len(self.body) and (
                repeated or _NAMING.search(self._name(column).lower())
            ):  # fmt: skip
                return column
        return None

    def named(self, chosen: Sequence[int], sensor: str) -> dict[str, int]:
        """The chosen columns by the names of their sensors; only the one that is asked for, where there are several."""
        if len(chosen) == 1:
            name = sensor or self._name(chosen[0]) or self.path.stem
            return {checked(name[:LONGEST_NAME], "the sensor's name", LONGEST_NAME): chosen[0]}
        names = [(self._name(column) or self.path.stem)[: LONGEST_NAME - 3] for column in chosen]
        names = [name if names.count(name) == 1 else f"{name} {at}" for at, name in enumerate(names, start=1)]
        columns = {checked(name, "the sensor's name", LONGEST_NAME): at for name, at in zip(names, chosen, strict=True)}
        if not sensor:
            return columns
        for name, column in columns.items():
            if name.casefold() == sensor.strip().casefold():
                return {name: column}
        raise NotUnderstood(
            f"{self.path} holds the sensors {', '.join(quoted(name) for name in columns)}; "
            f"{quoted(sensor)} is not among them."
        )
