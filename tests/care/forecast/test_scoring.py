"""Scoring past forecasts: what is counted, and that no morning knows more than it did. Common practice, no source."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from pupawatch import settings
from pupawatch.care.forecast import Conditions, DayRange, Sighting, Stay, Temperatures
from pupawatch.care.forecast.predict import Distribution
from pupawatch.care.forecast.scoring import (
    Mark,
    Story,
    crps,
    fixed_rule,
    known_by,
    likely_instant,
    mark,
    replay,
    summary,
)
from pupawatch.care.forecast.sun import Sky

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
MONARCH = settings.load().species["monarch"]
SKY = Sky("America/Chicago", 38.97, -95.24)
BEGIN = datetime(2026, 7, 1, 13, tzinfo=UTC)


def story(begin: datetime = BEGIN, days: int = 12, place: str = "shelf") -> Story:
    """Formed in the night before ``begin``, out in the last night of so many days; looked at every morning."""
    looks = [begin + n * DAY for n in range(days)]
    return Story(begin - 12 * HOUR, begin, looks[-1], begin + days * DAY, [Stay(begin, place)], (), looks)


def even(first: float, last: float) -> Distribution:
    """A pupa that comes at any hour between two POSIX hours alike."""
    return Distribution(np.array([first - 100.0, first, last, last + 100.0]), np.array([0.0, 0, 1, 1]), 1.0)


def test_the_score_of_an_even_chance_is_that_of_the_textbook() -> None:
    """Gneiting & Raftery 2007: for the uniform distribution on [0, 1], x² - x + 1/3 inside (from memory)."""
    for x in (0.0, 0.25, 0.5, 1.0):
        assert crps(even(1000, 1010), 1000 + 10 * x) == pytest.approx(10 * (x * x - x + 1 / 3))
    assert crps(even(1000, 1010), 1030) == pytest.approx(20 + 10 / 3)


def test_a_certain_forecast_scores_its_absolute_error() -> None:
    assert crps(even(1000, 1000.0001), 1012) == pytest.approx(12, abs=1e-3)


def test_a_mark_says_covered_only_inside_the_interval() -> None:
    at = BEGIN.timestamp() / 3600
    for hours, covered in ((0.5, False), (1.5, True), (8.5, True), (9.5, False)):
        made = mark(even(at, at + 10), BEGIN + hours * HOUR, BEGIN + 34 * HOUR, BEGIN)
        assert made.covered is covered
        assert made.error_days == pytest.approx(abs(hours - 5) / 24)
        assert made.fixed_error_days == pytest.approx((34 - hours) / 24)


def test_what_lies_beyond_the_horizon_is_late_and_not_an_error() -> None:
    at = BEGIN.timestamp() / 3600
    never = Distribution(np.array([at, at + 100]), np.array([0.0, 0.3]), 1.0)
    assert mark(never, BEGIN + 80 * HOUR, BEGIN, BEGIN).covered
    assert not mark(never, BEGIN + 10 * HOUR, BEGIN, BEGIN).covered


def test_marks_are_summed_up_beside_the_fixed_rule() -> None:
    score = summary([Mark(True, 1, 0.5, 2, 3), Mark(False, 3, 1.5, 6, 3), Mark(True, 2, 1, 4, 3)])
    assert score is not None
    assert score.coverage == pytest.approx(2 / 3)
    assert (score.n, score.median_error_days, score.crps_days, score.fixed_crps_days) == (3, 2, 1, 4)
    assert score.ratio == pytest.approx(0.25)
    assert summary([]) is None


def test_a_morning_knows_only_what_was_known() -> None:
    told = story()._replace(sightings=[Sighting(BEGIN + 9 * DAY, "darkening")])
    assert told.as_of(BEGIN - HOUR) is None
    assert told.as_of(BEGIN + 12 * DAY) is None
    early = told.as_of(BEGIN + 5 * DAY)
    late = told.as_of(BEGIN + 10 * DAY)
    assert early is not None
    assert late is not None
    assert (early.alive_at, early.sightings) == (BEGIN + 5 * DAY, [])
    assert [seen.stage for seen in late.sightings] == ["darkening"]


def test_a_pupa_that_moved_later_is_still_in_its_first_place() -> None:
    moved = story()._replace(stays=[Stay(BEGIN, "porch"), Stay(BEGIN + 3 * DAY, "shelf")])
    early = moved.as_of(BEGIN + DAY)
    assert early is not None
    assert [stay.place for stay in early.stays] == ["porch"]


def test_no_morning_sees_that_days_maximum_or_the_expected_days() -> None:
    days = [DayRange(date(2026, 7, 1) + n * DAY, 10, 20) for n in range(10)]
    known = Conditions(SKY, {"porch": Temperatures(days=days, expected=days)})
    seen = known_by(known, BEGIN + 4 * DAY).temperatures["porch"]
    assert [told.day for told in seen.days] == [date(2026, 7, n) for n in range(1, 5)]
    assert seen.expected == ()


def test_what_happens_afterwards_changes_no_replayed_mark() -> None:
    """The same morning, lived through with and without the rest of the season: other pupae, later warmth."""
    morning, others = BEGIN + 6 * DAY, [story(BEGIN + 5 * DAY, 9), story(BEGIN - 2 * DAY, 20)]
    days = [DayRange(date(2026, 6, 20) + n * DAY, 17, 27) for n in range(40)]
    hot = [told if told.day < date(2026, 7, 7) else told._replace(low_c=30, high_c=39) for told in days]
    first = replay(MONARCH, Conditions(SKY, {"shelf": Temperatures(days=days)}), [story()], [morning])
    again = replay(MONARCH, Conditions(SKY, {"shelf": Temperatures(days=hot)}), [story(), *others], [morning])
    assert again[0] == first[0]


def test_pupae_that_were_out_by_a_morning_teach_it() -> None:
    """Twenty slow pupae of June: by August the forecast is later than in July, and nearer."""
    known = Conditions(SKY, {"shelf": Temperatures(constant_c=22)})
    june = [story(BEGIN - 30 * DAY + n * DAY / 4, 15) for n in range(20)]
    august = story(BEGIN + 30 * DAY, 15)
    alone = replay(MONARCH, known, [august], [BEGIN + 31 * DAY])
    taught = replay(MONARCH, known, [*june, august], [BEGIN + 31 * DAY])
    assert len(taught) == 1
    assert taught[0].crps_days < alone[0].crps_days


def test_an_emergence_that_nobody_knows_within_days_teaches_but_is_no_yardstick() -> None:
    known = Conditions(SKY, {"shelf": Temperatures(constant_c=22)})
    vague = [
        story(BEGIN - 30 * DAY + n * DAY / 4, 15)._replace(emerged_from=BEGIN - 20 * DAY, looks=[]) for n in range(20)
    ]
    august = story(BEGIN + 30 * DAY, 15)
    assert replay(MONARCH, known, vague, [BEGIN - 22 * DAY]) == []
    (alone,) = replay(MONARCH, known, [august], [BEGIN + 31 * DAY])
    (taught,) = replay(MONARCH, known, [*vague, august], [BEGIN + 31 * DAY])
    assert taught.crps_days != alone.crps_days


def test_what_was_learned_of_a_pupa_is_kept_and_says_the_same() -> None:
    known = Conditions(SKY, {"shelf": Temperatures(constant_c=22)})
    june, august = [story(BEGIN - 30 * DAY + n * DAY / 4, 15) for n in range(6)], story(BEGIN + 30 * DAY, 15)
    mornings = [BEGIN + 31 * DAY, BEGIN + 33 * DAY]
    together = replay(MONARCH, known, [*june, august], mornings)
    apart = [mark for morning in mornings for mark in replay(MONARCH, known, [*june, august], [morning])]
    assert [mark.crps_days for mark in together] == pytest.approx([mark.crps_days for mark in apart])


def test_without_temperatures_the_calendar_is_scored() -> None:
    marks = replay(MONARCH, Conditions(SKY, {}), [story()], [BEGIN + n * DAY for n in range(12)])
    assert len(marks) == 12
    score = summary(marks)
    assert score is not None
    assert score.coverage > 0.7


def test_the_fixed_rule_never_names_the_past() -> None:
    early, late = story(days=20).as_of(BEGIN), story(days=20).as_of(BEGIN + 18 * DAY)
    assert early is not None
    assert late is not None
    assert fixed_rule(early, MONARCH, BEGIN) == BEGIN - 6 * HOUR + 11.5 * DAY
    assert fixed_rule(late, MONARCH, BEGIN + 18 * DAY) == BEGIN + 18 * DAY


def test_an_emergence_found_in_the_morning_is_taken_to_be_of_that_morning() -> None:
    """Sunrise 06:00 in Kansas on 13 July: found at 08:00, it came out between the two, not at midnight."""
    at = likely_instant(story(), SKY, MONARCH)
    assert BEGIN + 12 * DAY - 2 * HOUR < at < BEGIN + 12 * DAY
    missed = story()._replace(emerged_from=BEGIN + 9 * DAY)
    assert likely_instant(missed, SKY, MONARCH) == BEGIN + 10.5 * DAY
