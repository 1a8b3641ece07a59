"""The days ahead at the foot of the screen, as many as it is wide: how many butterflies each may bring."""

from collections.abc import Sequence

from textual.content import Content

from pupawatch.care.forecast.ahead import Expected
from pupawatch.tui.look import CALM

_BARS = " ▁▂▃▄▅▆▇█"
_FULL = 4.0
"""So many expected emergences fill a bar, or as many as the busiest day brings."""
_BUSY = 0.75
"""A day that brings at least this share of the busiest one, and likely an adult, is marked."""
_NAME_CELLS, _DAY_CELLS = 6, 5


def day_strip(days: Sequence[Expected], cells: int = 80) -> Content:
    """As many days as ``cells`` columns hold, in three lines: the days, under each the expected number as a bar and in
    figures, with ! where most come and one is likely, and below that the range it lies in with a chance of four in
    five. A low screen leaves the last line out.

    Empty as long as nothing is forecast.
    """
    if not days:
        return Content("")
    tallest = max(_FULL, *(day.mean for day in days))
    busy = max(day.mean for day in days) * _BUSY
    days = days[: max(1, (cells - _NAME_CELLS) // _DAY_CELLS)]
    names = "".join(f"{day.day:%a}"[:2] + f"{day.day.day:>2} " for day in days)
    ranges = "".join(f"{_range(day):>4} " for day in days)
    numbers = [Content.styled("Out   ", "bold")]
    for day in days:
        bar = _BARS[min(len(_BARS) - 1, round(day.mean / tallest * (len(_BARS) - 1)))]
        figure = f"{day.mean:.0f}" if day.mean >= 0.5 else "·"
        likely = day.low >= 1
        style = "bold" if likely else CALM
        numbers.append(Content.styled(f"{bar}{figure:>2}{'!' if likely and day.mean >= busy else ' '} ", style))
    return Content("\n").join(
        [
            Content.styled(f"      {names}", CALM),
            Content("").join(numbers),
            Content.styled(f"range {ranges}", CALM),
        ]
    )


def _range(day: Expected) -> str:
    if day.high == 0:
        return "·"
    return str(day.low) if day.low == day.high else f"{day.low}–{day.high}"
