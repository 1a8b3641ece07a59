"""The readings of a temperature logger's table, a line at a time. Impossible ones are reported and left out."""

import csv
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.lines import lines
from pupawatch.exchange.logger.layout import Layout, celsius_of, understand, unit_in, unit_told
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


MOST_FAULTS, FAULTS_PASSED = 0.05, 20
"""A file in which more than this share is faulty, and more lines than that, is not brought in unasked. No source."""
LEAST_STEP_C, SAME_C, LONGEST_STEP_SECONDS = 12.0, 3.0, 2 * 3600
"""A step of at least so many degrees that a change of unit explains to within SAME_C, between readings so near."""
STEP_LASTS = 12
"""So many readings must keep to the new unit: a sun spot is gone by then. No source."""


class Left(NamedTuple):
    """What was left out, and why: how many lines of each fault, and the first line of each."""

    counts: dict[str, int]
    first_line: dict[str, int]

    def note(self, fault: str, line: int) -> None:
        """Count a fault."""
        self.counts[fault] = self.counts.get(fault, 0) + 1
        self.first_line.setdefault(fault, line)

    @property
    def total(self) -> int:
        """How many lines were left out."""
        return sum(self.counts.values())

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
    units = _Units(path, layout)
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
            units.heading(cells, number)
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
            units.cell(sensor, text, at, celsius, last, number)
            if celsius is None:
                left.note("a temperature that is not a number", number)
            elif not COLDEST_C <= celsius <= HOTTEST_C:
                left.note(f"a temperature outside {COLDEST_C:.0f} to {HOTTEST_C:.0f} °C, a fault of the sensor", number)
            elif last and abs(celsius - last.celsius) > LARGEST_JUMP_C_PER_MINUTE * max(1, abs(at - last.at) / 60):
                left.note("a jump of more than 30 °C in a minute, a fault of the sensor", number)
            else:
                before[sensor] = reading = Reading(sensor, at, celsius)
                yield reading


class _Units:
    """Whether the unit changes within the file: it then belongs to two files, and nothing of it is brought in."""

    def __init__(self, path: Path, layout: Layout) -> None:
        self._path, self._layout = path, layout
        self._steps: dict[str, tuple[int, float, int]] = {}
        """By sensor the line of a step, the temperature before it in °C, and how many readings have kept to it."""

    def heading(self, cells: list[str], number: int) -> None:
        """A line without a time may be a new heading that names another unit."""
        named = {unit_in(cells[column]) for column in self._layout.columns.values() if column < len(cells)}
        if ("C" if self._layout.fahrenheit else "F") in named:
            self._refuse(number)

    def cell(self, sensor: str, text: str, at: int, celsius: float | None, last: Reading | None, number: int) -> None:
        """One temperature, in °C as the layout has it; last: the good one of that sensor before it."""
        if (told := unit_told(text)) is not None and (told == "F") != self._layout.fahrenheit:
            self._refuse(number)
        if celsius is None:
            return
        other = celsius * 1.8 + 32 if self._layout.fahrenheit else (celsius - 32) / 1.8
        if sensor in self._steps:
            line, was, kept = self._steps.pop(sensor)
            if abs(other - was) < abs(celsius - was) and abs(other - was) < LEAST_STEP_C:
                if kept >= STEP_LASTS:
                    self._refuse(line)
                self._steps[sensor] = line, other, kept + 1
        elif last is not None and at - last.at <= LONGEST_STEP_SECONDS:
            stepped = abs(celsius - last.celsius) >= LEAST_STEP_C
            if stepped and abs(other - last.celsius) <= SAME_C:
                self._steps[sensor] = number, other, 1

    def _refuse(self, line: int) -> None:
        was, new = ("°F", "°C") if self._layout.fahrenheit else ("°C", "°F")
        raise NotUnderstood(
            f"{self._path}, line {line}: the unit seems to change from {was} to {new} here. Cut the file in two before "
            "this line and import each part with its own --unit; nothing was imported."
        )


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
