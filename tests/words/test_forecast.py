"""How a forecast is put into words: no past day reads as one to come, and none wants its month.

What the words promise is this program's own; nothing of it is published.
"""

from datetime import UTC, datetime, timedelta

import pytest

from pupawatch.care.forecast.records import Grounds, Outlook
from pupawatch.words.forecast import due_words, heat_lines, odds_words

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)
DAY = timedelta(days=1)
GROUNDS = Grounds(learned=0, filled_hours=0, since_known=True, sky_known=True, overwinters=False)


def outlook(low: float, median: float, high: float | None, already: float = 0.0, overdue: bool = False) -> Outlook:
    ends = (None if days is None else NOW + days * DAY for days in (median, low, high))
    return Outlook("heat", *ends, (), already, 0.0, None, overdue, 0.5, NOW + 75 * DAY, GROUNDS)


@pytest.mark.parametrize(
    ("told", "short", "long"),
    [
        (outlook(1, 2, 4), "due Thu 10 (9–12)", "Due Thu 10; four in five from tomorrow to Sat 12."),
        (outlook(0, 0, 0), "due today", "Due today; four in five that day."),
        (outlook(19, 24, 30), "due 2 Oct (27 Sep–8 Oct)", "Due 2 Oct; four in five from Sun 27 to 8 Oct."),
        (outlook(30, 33, None), "due 11 Oct, from 8 Oct", "Due 11 Oct; four in five from 8 Oct to later."),
        (
            outlook(1, 2, 4, overdue=True),
            "overdue, check it",
            "Overdue: nearly all have emerged by now. Check it.",
        ),
        (
            outlook(-6, -4, -1, already=0.93),
            "probably out: check",
            "Probably out since about Fri 4 (93 %): check.",
        ),
    ],
)  # fmt: skip
def test_a_day_is_told_as_it_is_meant(told: Outlook, short: str, long: str) -> None:
    assert due_words(told, NOW, "UTC") == short
    assert odds_words(told, NOW, "UTC") == long


def test_one_warning_of_heat_stands_once_for_all_its_places() -> None:
    assert heat_lines({"Roof": "is hot", "Jar": "is hot", "Shelf": "was hotter"}) == [
        "Roof, Jar: is hot.",
        "Shelf: was hotter.",
    ]
