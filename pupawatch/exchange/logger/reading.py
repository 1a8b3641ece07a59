"""The readings of a temperature logger's table, a line at a time. Impossible ones are reported and left out."""

import csv
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.lines import lines
from pupawatch.exchange.logger.layout import Layout, celsius_of, understand
from pupawatch.exchange.logger.times import instant, time_text
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C
from pupawatch.model.text import LONGEST_NAME, checked

__all__ = ["Layout", "Left", "Reading", "readings", "understand"]

LARGEST_JUMP_C_PER_MINUTE = 30.0
"""A faster change is a fault. Common practice."""


class Reading(NamedTuple):
    """One value of one sensor: POSIX seconds and °C."""

    sensor: str
    at: int
    celsius: float


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


def readings(
    path: Path, layout: Layout, now: datetime, left: Left, seen: Callable[[int], None] = lambda _: None
) -> Iterator[Reading]:
    """Every good reading of the file, in its order, a line at a time. left: gets the faults. seen: gets bytes read."""
    before: dict[str, Reading] = {}
    previous: datetime | None = None
    latest = now.timestamp()
    for number, cells in _rows(path, layout, seen):
        if number <= layout.header_line or not any(cell.strip() for cell in cells):
            continue
        if len(cells) <= max(layout.time_columns):
            left.note("a line too short", number)
            continue
        moment = instant(time_text(cells, layout.time_columns), layout.time_layout, layout.zone, previous)
        if moment is None:
            left.note("a time that is not of that layout, or never was in this zone", number)
            continue
        previous = moment
        at = int(moment.timestamp())
        if at > latest:
            left.note("a time in the future", number)
            continue
        for sensor, text in _told(cells, layout, number, left):
            celsius = celsius_of(text, layout.fahrenheit)
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


def _told(cells: list[str], layout: Layout, number: int, left: Left) -> Iterator[tuple[str, str]]:
    """The sensors of a line with what they say; nothing where a cell is empty."""
    for sensor, column in layout.columns.items():
        text = cells[column].strip() if column < len(cells) else ""
        if not text:
            continue
        if layout.named_in is None:
            yield sensor, text
            continue
        name = cells[layout.named_in].strip()[:LONGEST_NAME] if layout.named_in < len(cells) else ""
        if layout.only and name.casefold() != layout.only.strip().casefold():
            continue
        try:
            yield checked(name, "the sensor's name", LONGEST_NAME), text
        except NotUnderstood:
            left.note("a line that does not name its sensor", number)


def _rows(path: Path, layout: Layout, seen: Callable[[int], None]) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines(path, layout.encoding, seen), delimiter=layout.delimiter)
    try:
        yield from enumerate(reader, start=1)
    except csv.Error as error:
        raise NotUnderstood(f"{path}, line {reader.line_num}: not a table of text ({error}).") from None
