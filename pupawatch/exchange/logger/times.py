"""The times of a logger's table: where they stand, in which one layout, and which instants they are."""

import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood
from pupawatch.model import times
from pupawatch.model.text import quoted
from pupawatch.model.times import YEARS

_DAYS = ("%d/%m/%Y", "%d/%m/%y", "%m/%d/%Y", "%m/%d/%y")  # day and month can be mistaken for each other
LAYOUTS = (
    *(f"{day} {clock}" for day in ("%Y-%m-%d", "%Y/%m/%d", "%d.%m.%Y", "%d.%m.%y", "%d-%m-%Y", *_DAYS)
      for clock in ("%H:%M:%S", "%H:%M")),
    *(f"{day} {clock}" for day in ("%Y-%m-%d", *_DAYS) for clock in ("%I:%M:%S %p", "%I:%M %p")),
)  # fmt: skip
"""The layouts that are tried beside ISO 8601; another one is named with --layout."""

ISO = "ISO 8601"
EPOCH = "seconds since 1970"
_FOLLOWING = 6
"""In the table most of so many lines after one with a time have one too."""
_OFFSET = re.compile(r"\b(?:GMT|UTC) ?([+-])(0?\d|1[0-4])(?::?([0-5]\d))?\b", re.IGNORECASE | re.ASCII)
_SECONDS = re.compile(r"\d{10}(?:\.\d+)?", re.ASCII)


def where_the_table_begins(rows: Sequence[Sequence[str]], layout: str, path: Path) -> tuple[int, tuple[int, ...]]:
    """The row of the first reading, and the columns of its time: one, or a date and a time of day side by side.

    What comes before may hold a time as well; in the table one follows upon the other.
    """
    for is_time in (_is_time, _is_second):
        alone = None
        for number, row in enumerate(rows):
            for columns in [(column, *more) for column in range(len(row)) for more in ((), (column + 1,))]:
                if not _has_time(row, columns, layout, is_time):
                    continue
                following = [
                    one for one in rows[number + 1 : number + 1 + _FOLLOWING] if any(cell.strip() for cell in one)
                ]
                if sum(_has_time(one, columns, layout, is_time) for one in following) * 2 > len(following):
                    return number, columns
                if not following:
                    alone = alone or (number, columns)
        if alone:
            return alone
    raise NotUnderstood(f"{path}: no column holds readable times; name their layout, as in --layout '%d.%m.%Y %H:%M'.")


def _has_time(row: Sequence[str], columns: Sequence[int], layout: str, is_time: Callable[[str, str], bool]) -> bool:
    return columns[-1] < len(row) and is_time(time_text(row, columns), layout)


def time_text(row: Sequence[str], columns: Sequence[int]) -> str:
    """What a row says of the time."""
    return " ".join(row[column].strip() for column in columns)


def _is_time(text: str, layout: str) -> bool:
    return any(_strptime(text, one) for one in ((layout,) if layout else (ISO, *LAYOUTS)))


def _is_second(text: str, layout: str) -> bool:
    return not layout and _strptime(text, EPOCH) is not None


def layout_of(texts: Sequence[str], path: Path) -> str:
    """The one layout that fits the times of the sample; a few torn lines do not count."""
    if all(_strptime(text, ISO) for text in texts):
        return ISO  # the year leads, and no other layout reads it otherwise
    fits = {one: sum(_strptime(text, one) is not None for text in texts) for one in (ISO, *LAYOUTS, EPOCH)}
    most = max(fits.values())
    fitting = [one for one, count in fits.items() if count == most]
    if most <= len(texts) / 2:
        raise NotUnderstood(f"{path}: times like {quoted(texts[0])} have no common layout; name it with --layout.")
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
        if layout == EPOCH:
            return times.instant(float(text)) if _SECONDS.fullmatch(text) else None
        return datetime.strptime(text, layout)
    except ValueError:
        return None


def zone_of(header: str, zone: str) -> tzinfo:
    """The zone of the times: a fixed one where their header names it (as in GMT-05:00), else the keeper's."""
    told = _OFFSET.search(header)
    if told is None:
        return ZoneInfo(zone)
    hours, minutes = int(told[2]), int(told[3] or 0)
    return timezone((1 if told[1] == "+" else -1) * timedelta(hours=hours, minutes=minutes))


def instant(text: str, layout: str, zone: tzinfo, previous: datetime | None) -> datetime | None:
    """The UTC instant; of an hour that comes twice the later one where the file has passed the earlier already.

    None where it is not of that layout, or never was in that zone.
    """
    local = _strptime(text, layout)
    if local is None or local.year not in YEARS:
        return None
    if local.tzinfo is not None:
        return local.astimezone(UTC)
    early, late = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if early == late:
        return early
    if early.astimezone(zone).replace(tzinfo=None) != local:
        return None  # skipped when the clocks went forward
    return late if previous is not None and previous >= early else early
