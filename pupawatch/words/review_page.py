"""A page of review as the command prints it: plain text."""

from collections.abc import Iterable, Iterator
from math import inf
from textwrap import wrap

from pupawatch.model.text import shown
from pupawatch.review.durations import Curve
from pupawatch.review.outcomes import DEFINITION
from pupawatch.review.page import ALL, Page
from pupawatch.review.pictures import bars, calendar, curve_picture, interval_rows, table
from pupawatch.words.broods import age_lines, source_lines
from pupawatch.words.review import Said, said


def lines(page: Page, width: int = 80) -> list[str]:
    """The page as lines of at most ``width`` columns, safe to print."""
    words = said(page)
    told = [*wrap(words.title, width), "", *wrap(DEFINITION, width)]
    if not page.total.formed:
        told += ["", "No data: no pupa recorded yet."]
    for title, rows in _sections(page, words, width):
        if rows:
            told += ["", title, *rows]
    return [shown(line) for line in told]


def _sections(page: Page, words: Said, width: int) -> Iterator[tuple[str, list[str]]]:
    if page.total.formed:
        yield "IN WORDS", _items((sentence.words for sentence in words.sentences), width)
        yield "SUCCESS", interval_rows(page.success, width) + _items((*words.notes, words.warning), width)
        yield "COUNTS", counts_table(page) + _items([f"Lost to: {words.losses}."] if words.losses else [], width)
        if page.total.judged:
            yield "WINGS DEFORMED, of those judged", interval_rows(page.deformity, width)
        yield "MOVED AND NOT MOVED, surface by surface", interval_rows(page.strata, width)
        if ALL in page.curves:
            yield "STILL PUPAE, by days since pupation (░: 95 % band)", curve_picture(page.curves[ALL], width)
        yield "HALF EMERGED AFTER", medians_table(page.curves)
        yield f"HOUR OF EMERGENCE ({page.hours.told})", hour_bars(page, width)
        yield "OUT FIRST ON", calendar(page.days)
        yield "FROM EGG TO RELEASE, by source", _items(source_lines(page.sources, page.source_rates), width)
        yield "LOST, by age as a pupa", _items(age_lines(page.ages), width)
    yield "PUBLISHED RATES, under other conditions; not a target", _items(words.published, width)


def counts_table(page: Page) -> list[str]:
    """The counts of each group under their headings."""
    header = ("", "pupated", "pending", "emerged", "lost", "unknown", "sound", "deformed")
    rows = [
        (group, *map(str, (c.formed, c.pending, c.emerged, c.lost, c.unknown, c.sound, c.deformed)))
        for group, c in (page.groups | {ALL: page.total}).items()
    ]
    return table(header, rows)


def medians_table(curves: dict[str, Curve]) -> list[str]:
    """After how many days half of each group had emerged, between which with 95 %, and of how many that is said."""
    rows = []
    for group, curve in curves.items():
        step, (first, last) = curve.median(), curve.median_band()
        band = f"{first / 24:.1f}–{last / 24:.1f}" if last < inf else f"{first / 24:.1f} or later"
        days = (f"{step.up_to / 24:.1f}", band) if step else ("not yet", "")
        rows.append((group, *days, str(curve.emerged), str(curve.n - curve.emerged)))
    return table(("days", "half out by", "95 %", "emerged", "unknown"), rows) if rows else []


def hour_bars(page: Page, width: int) -> list[str]:
    """Emergences by local hour, from the first hour that has any to the last."""
    busy = [hour for hour, number in enumerate(page.hours.by_hour) if number]
    if not busy:
        return []
    return bars({f"{hour:02}:00": page.hours.by_hour[hour] for hour in range(busy[0], busy[-1] + 1)}, width, 6)


def _items(texts: Iterable[str], width: int) -> list[str]:
    return [
        line for text in texts if text for line in wrap(shown(text), width, initial_indent="- ", subsequent_indent="  ")
    ]
