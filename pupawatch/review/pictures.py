"""Pictures of plain text: every one carries its numbers, is clear at 80 columns, and needs no colour."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from math import inf

from pupawatch.model.text import shown
from pupawatch.review.durations import Curve
from pupawatch.review.outcomes import Rate, percent

_NAME_CELLS = 22
_NARROWEST_LINE = 16
_NARROWEST_NAME = 8


def cells(text: str) -> int:
    """How many columns of a terminal the text takes."""
    from rich.cells import cell_len

    return cell_len(text)


def fitted(text: str, width: int) -> str:
    """The text made safe to show, cut or filled to exactly ``width`` columns."""
    from rich.cells import cell_len, set_cell_size

    text = shown(text)
    return set_cell_size(text, width) if cell_len(text) <= width else set_cell_size(text, width - 1) + "…"


def interval_rows(rates: Mapping[str, Rate], width: int = 80) -> list[str]:
    """One row a group: how many of how many, the rate, and its 95 % interval drawn as ``├──●──┤``."""
    if not rates:
        return []
    counts = max(len(f"{rate.hits}/{rate.n}") for rate in rates.values())
    counts = max(counts, len("of known"))
    # On a narrow screen the names give way, never the numbers.
    wide = max(_NARROWEST_NAME, min(_NAME_CELLS, width - counts - 20 - _NARROWEST_LINE))
    line = max(_NARROWEST_LINE, width - wide - counts - 20)
    scale = "0 %" + "50 %".center(line - 8) + "100 %"
    rows = [f"{'':{wide}} {'of known':>{counts}} {'rate':>6} {'95 %':>9}  {scale}"]
    for group, rate in rates.items():
        interval = rate.interval
        name = fitted(group, wide)
        if rate.value is None or interval is None:
            rows.append(f"{name} {'0/0':>{counts}} no data")
            continue
        low, high = interval
        numbers = (
            f"{f'{rate.hits}/{rate.n}':>{counts}} {percent(rate.value):>6} {f'{100 * low:.0f}–{100 * high:.0f}':>9}"
        )
        rows.append(f"{name} {numbers}  {_whisker(low, rate.value, high, line)}")
    return [row.rstrip() for row in rows]


def _whisker(low: float, value: float, high: float, width: int) -> str:
    signs = ["·" if at == (width - 1) // 2 else " " for at in range(width)]
    left, dot, right = (round(at * (width - 1)) for at in (low, value, high))
    signs[left : right + 1] = "─" * (right + 1 - left)
    signs[left], signs[right] = "├", "┤"
    signs[dot] = "●"
    return "".join(signs)


def bars(values: Mapping[str, float], width: int = 80, name_cells: int = _NAME_CELLS) -> list[str]:
    """One bar a group, as long as its number is large, the number beside it."""
    most = max(values.values(), default=0)
    if most <= 0:
        return []
    digits = 0 if all(value == int(value) for value in values.values()) else 1
    numbers = {group: f"{value:.{digits}f}" for group, value in values.items()}
    wide = max(map(len, numbers.values()))
    longest = width - name_cells - wide - 2
    rows = []
    for group, value in values.items():
        eighths = round(8 * longest * value / most)
        bar = "█" * (eighths // 8) + (" ▏▎▍▌▋▊▉"[eighths % 8] if eighths % 8 else "")
        rows.append(f"{fitted(group, name_cells)} {numbers[group]:>{wide}} {bar}".rstrip())
    return rows


def curve_picture(curve: Curve, width: int = 80, height: int = 11) -> list[str]:
    """The share still pupae against days since pupation: ``━`` the curve, ``░`` its 95 % band."""
    last = max((step.up_to for step in curve.steps if step.up_to < inf), default=0.0)
    first = min(step.over for step in curve.steps)
    if last <= 0:
        return []
    # The picture begins a day before the first emergence, not at pupation: nothing happens in between.
    begin, end = max(0.0, (first // 24 - 1) * 24), (last // 24 + 1) * 24
    across = width - 7
    times = [begin + (end - begin) * (at + 0.5) / across for at in range(across)]
    rows = [[" "] * across for _ in range(height)]
    for at, hours in enumerate(times):
        low, high = (_row_of(share, height) for share in curve.band(hours))
        for row in range(high, low + 1):
            rows[row][at] = "░"
        rows[_row_of(curve.still(hours), height)][at] = "━"
    marks = {0: "100 %", height // 2: " 50 %", height - 1: "  0 %"}
    drawn = [f"{marks.get(row, ''):>5} │{''.join(signs)}".rstrip() for row, signs in enumerate(rows)]
    return [*drawn, f"{'':5} └{'─' * across}", f"{'':7}{_days(begin, end, across)}"]


def _row_of(share: float, height: int) -> int:
    return round((1 - min(1.0, max(0.0, share))) * (height - 1))


def _days(begin: float, end: float, across: int) -> str:
    """The scale of days under the curve: as many as find room."""
    days = int((end - begin) // 24)
    every = next(step for step in (1, 2, 5, 7, 14, 28, 56, 112, 364, 10**6) if days / step * 6 <= across)
    text = ""
    for day in range(0, days + 1, every):
        label = f"{int(begin // 24) + day}"
        at = min(round(day * 24 / (end - begin) * (across - 1)), across - len(label))
        text = text.ljust(at) + label if at > len(text) or not text else text
    return text


def calendar(days: Mapping[date, int]) -> list[str]:
    """Emergences by week and day, Monday first; a day without any is a dot. Weeks without any are left out."""
    if not days:
        return []
    rows = ["week of      Mon Tue Wed Thu Fri Sat Sun"]
    weeks = sorted({day - timedelta(days=day.weekday()) for day in days})
    for monday in weeks:
        numbers = (days.get(monday + timedelta(days=offset), 0) for offset in range(7))
        rows.append(f"{monday.isoformat()}   " + " ".join(f"{number or '·':>3}" for number in numbers))
    return rows


def table(header: Sequence[str], rows: Sequence[Sequence[str]], name_cells: int = _NAME_CELLS) -> list[str]:
    """Rows of numbers under their headings, the first column a name."""
    wide = [max(len(row[at]) for row in (header, *rows)) for at in range(1, len(header))]
    return [
        " ".join(
            [fitted(row[0], name_cells), *(f"{cell:>{w}}" for cell, w in zip(row[1:], wide, strict=True))]
        ).rstrip()
        for row in (header, *rows)
    ]
