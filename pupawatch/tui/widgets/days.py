"""Fourteen days ahead, at the foot of the screen: how many adults each may bring."""

from collections.abc import Sequence

from textual.content import Content

from pupawatch.care.forecast.ahead import Expected
from pupawatch.tui.look import CALM

_BARS = " ▁▂▃▄▅▆▇█"
_TALLEST = 6
"""So many expected emergences fill a bar."""


def day_strip(days: Sequence[Expected]) -> Content:
    """Three lines: the days, under each the expected number as a bar and in figures, with ! where one is likely, and
    below that the range it lies in with a chance of four in five. A low screen leaves the last line out.

    Empty as long as nothing is forecast.
    """
    if not days:
        return Content("")
    names = "".join(f"{day.day:%a}"[:2] + f"{day.day.day:>2} " for day in days)
    ranges = "".join(f"{_range(day):>4} " for day in days)
    numbers = [Content.styled("Out   ", "bold")]
    for day in days:
        bar = _BARS[min(len(_BARS) - 1, round(day.mean / _TALLEST * (len(_BARS) - 1)))]
        figure = f"{day.mean:.0f}" if day.mean >= 0.5 else "·"
        likely = day.low >= 1
        style = "bold" if likely else CALM
        numbers.append(Content.styled(f"{bar}{figure:>2}{'!' if likely else ' '} ", style))
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
