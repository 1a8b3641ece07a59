"""Fourteen days ahead, at the foot of the screen: how many adults each may bring."""

from collections.abc import Sequence

from textual.content import Content

from pupawatch.care.forecast.ahead import Expected

_BARS = " ▁▂▃▄▅▆▇█"
_TALLEST = 6
"""So many expected emergences fill a bar."""


def day_strip(days: Sequence[Expected]) -> Content:
    """Two lines: the days, and under each the expected number as a bar and in figures; ! where one is likely.

    Empty as long as nothing is forecast.
    """
    if not days:
        return Content("")
    above = "".join(f"{day.day:%a}"[:2] + f"{day.day.day:>2} " for day in days)
    below = [Content.styled("Out   ", "bold")]
    for day in days:
        bar = _BARS[min(len(_BARS) - 1, round(day.mean / _TALLEST * (len(_BARS) - 1)))]
        figure = f"{day.mean:.0f}" if day.mean >= 0.5 else "·"
        likely = day.low >= 1
        below.append(
            Content.styled(f"{bar}{figure:>2}{'!' if likely else ' '} ", "bold" if likely else "$foreground 70%")
        )
    return Content("\n").join([Content.styled(f"      {above}", "$foreground 70%"), Content("").join(below)])
