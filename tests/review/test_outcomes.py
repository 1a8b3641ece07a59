"""What became of a pupa: the one definition, at its edges."""

import subprocess
import sys
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.factors import Season
from pupawatch.review.outcomes import Counts, Rate, outcomes, percent

MakePupa = Callable[..., Pupa]

COUNTING_ONLY = """
import sys
from pathlib import Path
from pupawatch.review.compare import ranking
from pupawatch.review.outcomes import Counts
from pupawatch.review.pictures import interval_rows
from pupawatch.settings import load
counts = Counts(1, 2, 3, 4, {"disease": 5})
assert counts.formed == 15 and counts.success.value == 0.2
ranked = ranking(dict.fromkeys("ABCDEF", counts), load(Path("no settings here")).care.review)
assert ranked.prior.fitted and len(interval_rows({one.group: one.rate for one in ranked.standings})) == 7
assert not {"scipy", "numpy", "textual", "sqlite3"} & set(sys.modules), "too much was loaded"
"""


def test_counts_and_the_first_picture_load_no_statistics() -> None:
    subprocess.run([sys.executable, "-c", COUNTING_ONLY], check=True)


def test_nothing_known_is_no_data_and_not_zero() -> None:
    nothing = Rate(0, 0)
    assert (nothing.value, nothing.interval, nothing.worst, nothing.best) == (None, None, None, None)
    assert percent(nothing.value) == "no data"


def test_only_unknown_outcomes_leave_everything_open() -> None:
    assert (Rate(0, 0, 3).value, Rate(0, 0, 3).worst, Rate(0, 0, 3).best) == (None, 0, 1)


def test_emerged_without_judged_wings_is_unknown(settings: Settings, make: MakePupa) -> None:
    assert outcomes([make(emerged=True)], settings) == ["unknown"]


def test_a_wing_word_the_settings_do_not_know_is_unknown(settings: Settings, make: MakePupa) -> None:
    assert outcomes([make(wings="splendid")], settings) == ["unknown"]


def test_creased_wings_are_not_sound(settings: Settings, make: MakePupa) -> None:
    # Source: score 1 is already not sound in the wing scores of Ragonese et al., temperature experiment 2019.
    words = [outcomes([make(wings=word)], settings)[0] for word in settings.care.wings]
    assert words == ["sound", "deformed", "deformed", "deformed"]


def test_written_down_both_as_emerged_and_as_lost_is_unknown(settings: Settings, make: MakePupa) -> None:
    assert outcomes([make(wings="sound", lost="stuck")], settings) == ["unknown"]


def test_a_loss_of_unknown_cause_is_a_loss(settings: Settings, make: MakePupa) -> None:
    total = Season([make(lost="unknown")], settings).total()
    assert (total.lost, total.unknown, total.success.value) == (1, 0, 0)


numbers = st.integers(0, 50)


causes = st.dictionaries(st.text(max_size=3), numbers, max_size=3)


@given(st.builds(Counts, numbers, numbers, numbers, numbers, causes, st.just(())))
def test_the_numbers_of_a_group_always_add_up(counts: Counts) -> None:
    assert counts.formed == counts.pending + counts.emerged + counts.lost
    assert counts.emerged == counts.judged + counts.unknown
    worst, best, success = counts.success.worst, counts.success.best, counts.success
    if success.value is not None and success.interval is not None:
        assert worst is not None
        assert best is not None
        assert worst <= success.value <= best
        assert 0 <= success.interval[0] <= success.value + 1e-12
        assert success.value - 1e-12 <= success.interval[1] <= 1


@pytest.mark.parametrize(
    ("rate", "words"),
    [(1, "100 %"), (0, "0 %"), (0.997, "99.7 %"), (0.9999, "99.9 %"), (0.003, "0.3 %"), (0.884, "88 %")],
)
def test_a_hundred_percent_is_said_only_where_it_is_meant(rate: float, words: str) -> None:
    assert percent(rate) == words
