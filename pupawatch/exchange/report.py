"""A page of review as one HTML file: opens without a network, prints well, runs nothing.

Everything that comes from a keeper or a file is escaped where it enters the page (``html.safe``).
"""

from collections.abc import Iterable, Mapping
from math import inf
from pathlib import Path

from pupawatch.exchange import new_file
from pupawatch.exchange.html import page as framed
from pupawatch.exchange.html import safe
from pupawatch.review.durations import Curve
from pupawatch.review.outcomes import DEFINITION, Rate, percent
from pupawatch.review.page import ALL, Page
from pupawatch.words.broods import age_lines, source_lines
from pupawatch.words.review import said

_WIDTH = 720
_NAME_WIDTH = 330
_ROW = 24
_NAME_LONGEST = 28

_STYLE = """
:root { color-scheme: light; background: #fff; }
body { font: 16px/1.5 Georgia, serif; max-width: 46rem; margin: 2rem auto; padding: 0 1rem; color: #1a1a1a; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.15rem; margin-top: 2rem; }
svg { width: 100%; height: auto; display: block; font: 13px sans-serif; }
svg text { fill: #1a1a1a; } .axis { stroke: #999; stroke-width: 1; } .grid { stroke: #ccc; stroke-dasharray: 2 4; }
.line { stroke: #1a1a1a; stroke-width: 2; fill: none; } .dot { fill: #1a1a1a; }
.band { fill: #c9d3dd; } .bar { fill: #5b6b7a; }
table { border-collapse: collapse; font: 14px sans-serif; }
th, td { padding: .2rem .6rem; text-align: right; border-bottom: 1px solid #ddd; }
th:first-child, td:first-child { text-align: left; }
.small { color: #444; font-size: .9rem; }
@media print { body { margin: 0; max-width: none; font-size: 11pt; } section { break-inside: avoid; } }
"""


def html(page: Page) -> str:
    """The page as one self-contained HTML document."""
    words = said(page)
    sections = [
        ("In words", _list(sentence.words for sentence in words.sentences)),
        ("Success", _intervals(page.success) + _list((*words.notes, words.warning))),
        ("Counts", _counts(page) + (_paragraph(f"Lost to: {words.losses}.") if words.losses else "")),
        ("Wings deformed, of those judged", _intervals(page.deformity) if page.total.judged else ""),
        ("Moved and not moved, surface by surface", _intervals(page.strata)),
        *((f"Still pupae, by days since pupation: {group}", _curve(curve)) for group, curve in page.curves.items()),
        (
            f"Hour of emergence ({page.hours.told})",
            _bars({f"{hour:02}:00": number for hour, number in enumerate(page.hours.by_hour)}),
        ),
        (
            "Butterflies first seen, by day (only days with any)",
            _bars({f"{day:%d %b}": number for day, number in page.days.items()}),
        ),
        ("From egg to release, by source", _list(source_lines(page.sources, page.source_rates))),
        ("Lost, by age as a pupa", _list(age_lines(page.ages))),
        ("Published rates, under other conditions; not a target", _list(words.published)),
    ]
    if not page.total.formed:
        sections = [("No data", _paragraph("No pupa recorded yet."))]
    body = "".join(f"<section><h2>{safe(title)}</h2>{inner}</section>\n" for title, inner in sections if inner)
    return framed(words.title, _STYLE, f'<p class="small">{safe(DEFINITION)}</p>\n{body}')


def write(page: Page, path: Path) -> None:
    """Write the report to a new file (see ``new_file``)."""
    new_file.write(path, html(page))


def _paragraph(text: str) -> str:
    return f'<p class="small">{safe(text)}</p>'


def _list(texts: Iterable[str]) -> str:
    items = "".join(f"<li>{safe(text)}</li>" for text in texts if text)
    return f"<ul>{items}</ul>" if items else ""


def _counts(page: Page) -> str:
    names = ("formed", "pending", "emerged", "lost", "unknown", "sound", "deformed")
    head = "".join(f"<th>{name}</th>" for name in ("", *names))
    rows = [
        f"<tr><td>{safe(group)}</td>{''.join(f'<td>{getattr(counts, name)}</td>' for name in names)}</tr>"
        for group, counts in (page.groups | {ALL: page.total}).items()
    ]
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _svg(height: float, label: str, parts: Iterable[str]) -> str:
    return f'<svg viewBox="0 0 {_WIDTH} {height:g}" role="img" aria-label="{safe(label)}">{"".join(parts)}</svg>'


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{safe(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _intervals(rates: Mapping[str, Rate]) -> str:
    """One row a group: name, counts, rate, and its 95 % interval from 0 to 100 %."""
    if not rates:
        return ""
    right, height = _WIDTH - 20, (len(rates) + 1) * _ROW
    parts = []
    for share in (0.0, 0.5, 1.0):
        x = _NAME_WIDTH + share * (right - _NAME_WIDTH)
        parts += [_text(x, 14, f"{100 * share:.0f} %", "middle"), _line(x, 20, x, height, "grid")]
    for row, (group, rate) in enumerate(rates.items(), start=1):
        y = row * _ROW + 12
        parts.append(_text(0, y + 4, group if len(group) <= _NAME_LONGEST else group[: _NAME_LONGEST - 1] + "…"))
        if rate.value is None or rate.interval is None:
            parts.append(_text(_NAME_WIDTH - 20, y + 4, "no data", "end"))
            continue
        parts.append(_text(_NAME_WIDTH - 80, y + 4, f"{rate.hits}/{rate.n}", "end"))
        parts.append(_text(_NAME_WIDTH - 20, y + 4, percent(rate.value), "end"))
        low, value, high = (
            _NAME_WIDTH + at * (right - _NAME_WIDTH) for at in (rate.interval[0], rate.value, rate.interval[1])
        )
        parts.append(_line(low, y, high, y, "line"))
        parts += [_line(x, y - 5, x, y + 5, "line") for x in (low, high)]
        parts.append(f'<circle class="dot" cx="{value:.1f}" cy="{y:.1f}" r="5"/>')
    return _svg(height, "rates with their 95 % intervals", parts)


def _bars(values: Mapping[str, float]) -> str:
    """One standing bar a group, its number above it; quiet beginnings and ends are left out."""
    names = [name for name, value in values.items() if value > 0]
    if not names:
        return ""
    order = list(values)
    names = order[order.index(names[0]) : order.index(names[-1]) + 1]
    most, step, base = max(values.values()), (_WIDTH - 20) / len(names), 130.0
    every = max(1, round(45 / step))
    parts = [_line(10, base, _WIDTH - 10, base, "axis")]
    for at, name in enumerate(names):
        high, x = 100 * values[name] / most, 10 + at * step
        if high:
            parts.append(
                f'<rect class="bar" x="{x + step * 0.1:.1f}" y="{base - high:.1f}" '
                f'width="{step * 0.8:.1f}" height="{high:.1f}"/>'
            )
        if high and step >= 18:
            parts.append(_text(x + step / 2, base - high - 5, f"{values[name]:.0f}", "middle"))
        if at % every == 0:
            parts.append(_text(x + step / 2, base + 16, name, "middle"))
    return _svg(base + 24, "how many", parts)


def _curve(curve: Curve) -> str:
    """The share still pupae as steps, slanting where it is not known when within a step, with its band."""
    last = max((step.up_to for step in curve.steps if step.up_to < inf), default=0.0)
    if not last:
        return ""
    left, top, base = 50.0, 10.0, 190.0
    begin = max(0.0, (min(step.over for step in curve.steps) // 24 - 1) * 24)
    end = (last // 24 + 1) * 24

    def at(hours: float, share: float) -> str:
        x = left + (min(hours, end) - begin) / (end - begin) * (_WIDTH - left - 20)
        return f"{x:.1f},{base - share * (base - top):.1f}"

    line, low, high = [at(begin, 1)], [at(begin, 1)], [at(begin, 1)]
    share, last_low, last_high = 1.0, 1.0, 1.0
    for step, step_low, step_high in zip(curve.steps, curve.low, curve.high, strict=True):
        if step.up_to == inf:
            break
        line += [at(step.over, share), at(step.up_to, share := share - step.share)]
        low += [at(step.over, last_low), at(step.up_to, last_low := step_low)]
        high += [at(step.over, last_high), at(step.up_to, last_high := step_high)]
    line.append(at(end, share))
    low.append(at(end, last_low))
    high.append(at(end, last_high))
    parts = [f'<polygon class="band" points="{" ".join(high + low[::-1])}"/>']
    parts.append(f'<polyline class="line" points="{" ".join(line)}"/>')
    parts.append(_line(left, base, _WIDTH - 20, base, "axis"))
    for mark in (0.0, 0.5, 1.0):
        y = float(at(begin, mark).split(",")[1])
        parts += [_text(left - 8, y + 4, f"{100 * mark:.0f} %", "end"), _line(left, y, _WIDTH - 20, y, "grid")]
    days = range(int(begin // 24), int(end // 24) + 1)
    for day in days[:: max(1, len(days) // 14)]:
        parts.append(_text(float(at(day * 24, 0).split(",")[0]), base + 18, f"{day}", "middle"))
    unseen = f", {curve.n - curve.emerged} not seen to" if curve.n > curve.emerged else ""
    note = f"Days since pupation. {curve.emerged} emerged{unseen}. Shaded: 95 % band, from resampling."
    return _svg(base + 26, "share still pupae by days", parts) + _paragraph(note)
