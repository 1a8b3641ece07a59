"""Time to emergence from intervals, in cases whose answer is plain."""

from collections.abc import Callable
from datetime import UTC, datetime
from itertools import permutations
from math import inf

import pytest
from hypothesis import given
from hypothesis import settings as settings_of_test
from hypothesis import strategies as st

from pupawatch.model.entries import Emerged, Found
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.durations import Lifetime, curve, curves, innermost, lifetime
from pupawatch.review.factors import Season

MakePupa = Callable[..., Pupa]


def told(found_since: datetime | None, found: datetime, out_since: datetime | None, out: datetime) -> Pupa:
    return fold(
        "p",
        [
            Found(id="1", act="a", pupa="p", label="A", species="monarch", place="Roof", since=found_since,
                  happened=found, recorded=found, zone="UTC"),
            Emerged(id="2", act="b", pupa="p", since=out_since, happened=out, recorded=out, zone="UTC"),
        ],
    )  # fmt: skip


def test_nobody_knows_how_long_it_took_where_nobody_knows_when_it_formed() -> None:
    pupa = told(
        None, datetime(2026, 7, 1, tzinfo=UTC), datetime(2026, 7, 9, tzinfo=UTC), datetime(2026, 7, 10, tzinfo=UTC)
    )
    assert lifetime(pupa) == Lifetime(8 * 24, inf)


def test_an_emergence_known_only_by_its_end_began_after_the_pupa_was_last_seen() -> None:
    june, july = datetime(2026, 6, 30, tzinfo=UTC), datetime(2026, 7, 1, tzinfo=UTC)
    assert lifetime(told(june, july, None, datetime(2026, 7, 10, tzinfo=UTC))) == Lifetime(0, 240)


def test_entries_that_contradict_each_other_say_nothing() -> None:
    early, late = datetime(2026, 6, 1, tzinfo=UTC), datetime(2026, 7, 1, tzinfo=UTC)
    assert lifetime(told(late, late, early, early)) is None


def test_the_curve_falls_on_the_innermost_intervals() -> None:
    # (0, 4] and (2, 6] share (2, 4]; (4, 8] begins where the first ends, and shares (4, 6] with the second.
    assert innermost([Lifetime(0, 4), Lifetime(2, 6), Lifetime(4, 8)]) == [Lifetime(2, 4), Lifetime(4, 6)]


def test_disjoint_intervals_share_the_pupae_evenly() -> None:
    drawn = curve([Lifetime(0, 24), Lifetime(24, 48), Lifetime(48, 72), Lifetime(72, 96)])
    assert drawn is not None
    assert [step.share for step in drawn.steps] == pytest.approx([0.25] * 4)
    assert [drawn.still(hours) for hours in (0, 24, 71, 96)] == pytest.approx([1, 0.75, 0.5, 0])
    middle = drawn.median()
    assert middle is not None
    assert (middle.over, middle.up_to) == (24, 48)


def test_the_doubt_about_the_half_lies_around_it_and_is_open_where_too_few_emerged() -> None:
    drawn = curve([Lifetime(24 * day, 24 * day + 24) for day in range(20)])
    assert drawn is not None
    first, last = drawn.median_band()
    assert 24 * 5 <= first < 24 * 10 < last <= 24 * 15
    few = curve([Lifetime(0, 24), *[Lifetime(24, inf)] * 9])
    assert few is not None
    assert few.median() is None
    assert few.median_band()[1] == inf


def test_one_that_was_not_seen_to_emerge_keeps_the_curve_up() -> None:
    drawn = curve([Lifetime(0, 24), Lifetime(24, inf)])
    assert drawn is not None
    assert drawn.still(1000) == pytest.approx(0.5)


def test_no_emergence_gives_no_curve() -> None:
    assert curve([]) is None
    assert curve([Lifetime(24, inf)] * 9) is None


def test_the_same_records_give_the_same_band_in_any_order() -> None:
    lives = [Lifetime(0, 24), Lifetime(12, 30), Lifetime(24, 48), Lifetime(40, inf)]
    assert len({repr(curve(order)) for order in list(permutations(lives))[::5]}) == 1


spans = st.tuples(st.integers(0, 400), st.integers(1, 60)).map(lambda span: Lifetime(span[0], span[0] + span[1]))


@settings_of_test(deadline=None, max_examples=40)
@given(st.lists(spans, min_size=1, max_size=30))
def test_the_shares_are_a_whole_and_the_band_holds_to_its_bounds(lives: list[Lifetime]) -> None:
    drawn = curve(lives)
    assert drawn is not None
    assert sum(step.share for step in drawn.steps) == pytest.approx(1, abs=1e-4)
    assert all(0 <= low <= high <= 1 for low, high in zip(drawn.low, drawn.high, strict=True))
    assert drawn.still(0) == 1


def test_groups_with_few_emergences_get_no_curve(settings: Settings, make: MakePupa) -> None:
    pupae = [make(wings="sound", site="Roof") for _ in range(5)] + [make(wings="sound", site="Jar") for _ in range(4)]
    assert list(curves(Season(pupae, settings), "site")) == ["Roof"]
