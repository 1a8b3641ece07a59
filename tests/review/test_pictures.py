"""Pictures of plain text: aligned, within the width, and never without their numbers."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from pupawatch.model.text import shown
from pupawatch.review.durations import Lifetime, curve
from pupawatch.review.outcomes import Rate
from pupawatch.review.pictures import bars, calendar, curve_picture, fitted, interval_rows, table

rates = st.integers(0, 300).flatmap(
    lambda n: st.builds(Rate, st.integers(0, n), st.just(n), st.integers(0, 9), st.just(()))
)
names = st.text("aZ9 éß虫家蝶나비e\u0301\x1b\u202e<[/]", max_size=60)


def test_an_interval_row_shows_its_counts_rate_interval_and_line() -> None:
    # Wilson 9 of 10: 0.5958-0.9821 (computed with scipy, Brown, Cai & DasGupta 2001 give the same formula).
    header, row = interval_rows({"Cage roof": Rate(9, 10)}, 80)
    assert row.startswith("Cage roof                  9/10   90 %     60–98")
    line = row[header.index("0 %") :]
    assert (line.count("├"), line.count("●"), line.count("┤")) == (1, 1, 1)
    # The line is 40 columns wide: 0.5958, 0.9 and 0.9821 of 39 steps are 23, 35 and 38.
    assert (line.index("├"), line.index("●"), line.index("┤")) == pytest.approx(
        tuple(round(at * (len(header) - header.index("0 %") - 1)) for at in (0.5958, 0.9, 0.9821)), abs=0
    )


def test_no_data_is_said_in_words() -> None:
    assert interval_rows({"Jar": Rate(0, 0, 2)})[1].endswith("no data")
    assert interval_rows({}) == []


@given(st.dictionaries(names, rates, min_size=1, max_size=6), st.sampled_from([60, 80, 120]))
def test_interval_rows_hold_to_the_width_whatever_the_names(groups: dict[str, Rate], width: int) -> None:
    rows = interval_rows(groups, width)
    assert len(rows) == len(groups) + 1
    assert all(cell_len(row) <= width for row in rows)
    assert all(shown(row) == row for row in rows)


@given(st.text("aZ9 éß虫家蝶나비e\u0301\x1b\u202e", max_size=40), st.integers(1, 30))
def test_a_fitted_name_takes_exactly_its_columns(text: str, width: int) -> None:
    # Independent measure: the cell widths of Rich.
    assert cell_len(fitted(text, width)) == width


def test_bars_are_as_long_as_their_numbers_are_large() -> None:
    rows = bars({"06:00": 8, "07:00": 4.5, "08:00": 0}, width=40, name_cells=6)
    # 40 columns less the name, the number and two gaps are 29; 4.5 of 8 of them are 16 and 2.5 eighths, even: 2.
    assert rows == ["06:00  8.0 " + "█" * 29, "07:00  4.5 " + "█" * 16 + "▎", "08:00  0.0"]


def test_a_curve_falls_from_left_to_right_within_80_columns() -> None:
    drawn = curve([Lifetime(240 + 6 * at, 252 + 6 * at) for at in range(12)])
    assert drawn is not None
    picture = curve_picture(drawn, 80)
    assert all(len(row) <= 80 for row in picture)
    heights = [next(y for y, row in enumerate(picture) if row[x : x + 1] == "━") for x in range(7, 80)]
    assert heights == sorted(heights)
    assert (heights[0], heights[-1]) == (0, 10)
    assert picture[-1].split() == ["9", "10", "11", "12", "13", "14"]


def test_the_calendar_puts_each_day_under_its_weekday() -> None:
    # 3 August 2026 is a Monday.
    assert calendar({date(2026, 8, 3): 2, date(2026, 8, 9): 12, date(2026, 8, 19): 1}) == [
        "week of      Mon Tue Wed Thu Fri Sat Sun",
        "2026-08-03     2   ·   ·   ·   ·   ·  12",
        "2026-08-17     ·   ·   1   ·   ·   ·   ·",
    ]


def test_a_table_lines_its_numbers_up() -> None:
    assert table(("", "formed", "lost"), [("Roof", "10", "1"), ("Jar", "4", "0")], 6) == [
        "       formed lost",
        "Roof       10    1",
        "Jar         4    0",
    ]
