"""The temperatures behind the forecast: what was measured, what is filled, what is guessed, and how it is said.

Common practice, no source, where none is named.
"""

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from pupawatch import settings
from pupawatch.care.forecast import Conditions, DayRange, Finished, Outlook, Stay, Temperatures, Watched, forecaster
from pupawatch.care.forecast.sun import Sky
from pupawatch.care.forecast.timeline import LEAST_SPREAD_C, SILENT_LEAST_C, Timeline, _day_to_day, build
from pupawatch.words.forecast import outlook_notes

if TYPE_CHECKING:
    from tests.conftest import Developed

Array = NDArray[np.float64]
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
MONARCH = settings.load().species["monarch"]
SKY = Sky("America/Chicago", 38.97, -95.24)
NOW = datetime(2026, 8, 10, 13, tzinfo=UTC)
TODAY = date(2026, 8, 10)


def logged(days: float, step_hours: float = 0.25, mean: float = 22.0, swing: float = 5.0) -> Temperatures:
    """A logger that has run for so many days until NOW: warmest in the afternoon."""
    hours: Array = -np.arange(0, 24 * days + step_hours / 2, step_hours)[::-1]
    local = (hours + 8) % 24  # eight in the morning at NOW
    return Temperatures(NOW.timestamp() + 3600 * hours, mean + swing * np.cos((local - 15) * np.pi / 12))


def without(known: Temperatures, since: datetime, until: datetime) -> Temperatures:
    """The same logger, silent between two instants."""
    at, celsius = np.asarray(known.at_seconds), np.asarray(known.celsius)
    kept = (at < since.timestamp()) | (at > until.timestamp())
    return known._replace(at_seconds=at[kept], celsius=celsius[kept])


def line(known: Temperatures, days: int = 20, ahead: int = 20) -> Timeline:
    first = int(NOW.timestamp() // 3600) - 24 * days
    return build(known, SKY, first, NOW.timestamp() / 3600, 24 * (days + ahead))


def outlook(known: Temperatures, days: float = 6, now: datetime = NOW) -> Outlook:
    formed = now - days * DAY
    pupa = Watched(formed, formed, now, [Stay(formed, "porch")])
    return forecaster(MONARCH, Conditions(SKY, {"porch": known}), now).outlooks([pupa])[0]


def hours_wide(seen: Outlook) -> float:
    assert seen.low is not None
    assert seen.high is not None
    return (seen.high - seen.low) / HOUR


def test_a_gap_is_filled_from_the_days_around_marked_and_less_sure() -> None:
    gap = without(logged(20), NOW - 5 * DAY, NOW - 3 * DAY)
    made = line(gap)
    marked = np.flatnonzero(made.filled)
    assert len(marked) == pytest.approx(48, abs=2)
    assert (made.error_c[marked] >= SILENT_LEAST_C).all()
    assert made.celsius[marked].mean() == pytest.approx(22, abs=0.5)
    assert not made.filled[: marked[0]].any()


def weather(rng: np.random.Generator, days: int) -> Array:
    """The air hour by hour: a daily course, and spells of 2.5 °C that fade to a third in three days (a first-order
    autoregression, drawn by numpy; that weather resembles itself so from day to day is common practice)."""
    keep = np.exp(-1 / 24 / 3)
    shocks = rng.normal(0, 2.5 * np.sqrt(1 - keep**2), 24 * days)
    spell = np.zeros(24 * days)
    spell[0] = rng.normal(0, 2.5)
    for hour in range(1, 24 * days):
        spell[hour] = keep * spell[hour - 1] + shocks[hour]
    return np.asarray(20 + spell + 5 * np.cos((np.arange(24 * days) % 24 - 9) * np.pi / 12))


@pytest.mark.parametrize("gap_days", [2, 6, 10])
def test_a_gap_errs_no_more_than_is_said_and_not_far_less(gap_days: int) -> None:
    """Eighty drawn seasons: the mean over a gap in the readings, beside what filled it."""
    first, began = int(NOW.timestamp() // 3600) - 24 * 45, 24 * 30
    hours = np.arange(24 * 45)
    kept = (hours < began) | (hours >= began + 24 * gap_days)
    inside = slice(began + 1, began + 24 * gap_days - 1)
    off, said = [], []
    for seed in range(80):
        air = weather(np.random.default_rng(seed), 45)
        known = Temperatures((first + hours[kept]) * 3600.0, air[kept])
        made = build(known, SKY, first, first + 24.0 * 45 - 1, 24 * 47)
        off.append(float((made.celsius[inside] - air[inside]).mean()))
        said.append(float(made.error_c[inside].mean()))
    erred = float(np.sqrt(np.mean(np.square(off))))
    assert 1 <= np.mean(said) / erred <= 1.7


@pytest.mark.parametrize("days", [7, 14, 28])
def test_the_weathers_spread_is_not_underrated_after_a_few_days(days: int) -> None:
    """A week of one spell looks steadier than the weather is; on average over many weeks it must not be taken so."""
    found = [
        _day_to_day(weather(np.random.default_rng(1000 + seed), days), np.arange(24 * days)) for seed in range(150)
    ]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(2.4, rel=0.12)  # of a day's mean: 2.5 less within it


def test_a_filled_gap_widens_the_answer_and_is_said() -> None:
    whole, gap = logged(20), without(logged(20), NOW - 6 * DAY, NOW - 1 * DAY)
    assert hours_wide(outlook(gap)) > hours_wide(outlook(whole))
    assert not any("had no reading" in note for note in outlook_notes(outlook(whole)))
    assert any("h of its past had no reading" in note for note in outlook_notes(outlook(gap)))


def test_two_hours_without_a_reading_are_no_gap() -> None:
    assert not line(logged(20, step_hours=2)).filled.any()
    assert line(logged(20, step_hours=2.5)).filled.any()


def test_sparse_readings_still_tell_something_and_are_all_marked_as_filled() -> None:
    """A thermometer read every eight hours, one read once, and one that is silent since last year."""
    sparse = logged(20, step_hours=8)
    made = line(sparse)
    assert made.filled[24 * 2 : 24 * 19].all()
    assert made.celsius[24 * 2 : 24 * 19].mean() == pytest.approx(22, abs=1)
    assert outlook(Temperatures([NOW.timestamp() - 3600], [21.0])).basis == "heat"
    assert outlook(Temperatures([NOW.timestamp() - 365 * 86400], [21.0])).basis == "calendar"


def test_a_written_minimum_and_maximum_fill_a_gap_better_than_the_neighbours() -> None:
    silent = without(logged(20), NOW - 5 * DAY, NOW - 3 * DAY)
    written = silent._replace(days=[DayRange(TODAY - 4 * DAY, 8, 14)])
    hours = line(written).celsius
    noon = 24 * 20 - 24 * 4 + 7  # three in the afternoon, four days ago
    assert hours[noon] == pytest.approx(14, abs=0.2)
    assert line(silent).celsius[noon] == pytest.approx(27, abs=1.5)
    assert line(written).error_c[noon] < line(silent).error_c[noon]


def test_nothing_read_after_the_hour_is_looked_at() -> None:
    """No peeking: what the logger will say tomorrow changes nothing today."""
    until_now = logged(20)
    at, celsius = np.asarray(until_now.at_seconds), np.asarray(until_now.celsius)
    later = NOW.timestamp() + 900 * np.arange(1, 96 * 10)
    peeking = Temperatures(np.append(at, later), np.append(celsius, np.full(len(later), 40.0)))
    assert outlook(peeking) == outlook(until_now)


def test_days_written_by_hand_are_enough() -> None:
    days = [DayRange(TODAY - n * DAY, 17, 27) for n in range(20, -1, -1)]
    by_hand = Temperatures(days=days)
    assert outlook(by_hand).basis == "heat"
    assert not line(by_hand).filled[24:].any()
    by_logger = outlook(logged(20))
    assert by_logger.median is not None
    assert abs(by_logger.median - (outlook(by_hand).median or NOW)) < DAY


def test_a_day_not_written_down_takes_its_neighbours_and_is_marked() -> None:
    days = [DayRange(TODAY - n * DAY, 17, 27) for n in range(20, -1, -1) if n != 4]
    made = line(Temperatures(days=days))
    assert made.filled.sum() == 24
    assert made.celsius[24 * 16] == pytest.approx(made.celsius[24 * 15], abs=0.1)


def test_a_heated_room_needs_one_number_and_is_steady() -> None:
    made = line(Temperatures(constant_c=23))
    assert (made.celsius[: 24 * 20] == 23).all()
    assert not made.filled.any()
    assert made.error_c[: 24 * 20].max() == LEAST_SPREAD_C
    assert made.celsius[-1] == pytest.approx(23, abs=0.6)


def test_the_days_to_come_follow_those_just_past_less_and_less_surely() -> None:
    made = line(logged(20))
    past, ahead = made.celsius[24 * 19 : 24 * 20], made.celsius[24 * 20 : 24 * 21]
    assert ahead == pytest.approx(past, abs=0.3)
    assert hours_wide(outlook(logged(20), 1)) > hours_wide(outlook(logged(20), 8))
    assert made.error_c[24 * 20 :].min() > 0
    assert made.error_c[24 * 20] < made.error_c[24 * 22]


def test_swinging_weather_makes_the_answer_wider_than_a_steady_room() -> None:
    rng = np.random.default_rng(4)
    swinging = [
        DayRange(TODAY - n * DAY, 17 + c, 27 + c) for n, c in zip(range(20, -1, -1), rng.normal(0, 4, 21), strict=True)
    ]
    steady = [DayRange(TODAY - n * DAY, 17, 27) for n in range(20, -1, -1)]
    assert hours_wide(outlook(Temperatures(days=swinging), 1)) > 1.2 * hours_wide(outlook(Temperatures(days=steady), 1))


def test_autumn_ahead_is_cooler_than_autumn_past_and_spring_is_warmer() -> None:
    """The sun's year: at 39° north October cools and April warms; south of the equator the other way round."""
    rng = np.random.default_rng(6)
    swings = rng.normal(0, 3, 22)

    def trend(day: datetime, latitude: float) -> float:
        days = [DayRange(day.date() - n * DAY, 10 + c, 20 + c) for n, c in zip(range(21, -1, -1), swings, strict=True)]
        first = int(day.timestamp() // 3600) - 24 * 20
        made = build(Temperatures(days=days), SKY._replace(latitude=latitude), first, day.timestamp() / 3600, 24 * 60)
        return float(made.celsius[24 * 50 :].mean() - made.celsius[24 * 32 : 24 * 36].mean())

    october, april = datetime(2026, 10, 10, 12, tzinfo=UTC), datetime(2026, 4, 10, 12, tzinfo=UTC)
    assert trend(october, 39) < -1
    assert trend(april, 39) > 1
    assert trend(october, -39) > 1
    assert trend(october, 0) == pytest.approx(0, abs=0.2)


def test_expected_days_stand_before_the_pattern() -> None:
    cold = [DayRange(TODAY + n * DAY, 4, 10) for n in range(10)]
    usual, chilled = outlook(logged(20)), outlook(logged(20)._replace(expected=cold))
    assert usual.median is not None
    assert chilled.median is not None
    assert chilled.median > usual.median + 3 * DAY
    made = line(logged(20)._replace(expected=cold))
    assert made.celsius[24 * 22] < 10
    assert not np.isnan(made.celsius).any()


def test_a_logger_long_silent_is_less_and_less_sure_and_says_so() -> None:
    old = without(logged(20), NOW - 12 * DAY, NOW + DAY)
    assert hours_wide(outlook(old, 2)) > hours_wide(outlook(logged(20), 2))
    assert any("had no reading" in note for note in outlook_notes(outlook(old, 2)))


def test_a_change_of_summer_time_moves_no_temperature(developed: "Developed") -> None:
    """Chicago, 1 November 2026 (IANA time zone database): that local day has 25 hours, and its sine with it."""
    days = [DayRange(date(2026, 10, 28) + n * DAY, 8, 20) for n in range(8)]
    since, until = datetime(2026, 10, 31, 5, tzinfo=UTC), datetime(2026, 11, 3, 6, tzinfo=UTC)
    grown = developed(Temperatures(days=days), "America/Chicago", since, until, [11.5], MONARCH.heat)
    plain = developed(Temperatures(days=days), "UTC", since, since + 3 * DAY, [11.5], MONARCH.heat)
    assert grown[0] == pytest.approx(plain[0] * 73 / 72, rel=0.01)


def test_more_base_or_more_need_is_never_sooner(developed: "Developed") -> None:
    """By its meaning: in reference days a base matters only away from the reference temperature."""
    cool = developed(Temperatures(constant_c=16), "UTC", NOW - 5 * DAY, NOW, [9, 11, 13, 15], MONARCH.heat)
    warm = developed(Temperatures(constant_c=28), "UTC", NOW - 5 * DAY, NOW, [9, 11, 13, 15], MONARCH.heat)
    at_reference = developed(Temperatures(constant_c=22), "UTC", NOW - 5 * DAY, NOW, [9, 15], MONARCH.heat)
    assert list(cool) == sorted(cool, reverse=True)
    assert list(warm) == sorted(warm)
    assert at_reference == pytest.approx([5, 5], abs=1e-9)


def swinging(days: float, cooler: float = 0.0) -> Temperatures:
    """A logger on a porch until NOW, with spells of weather. cooler: by how much in °C the last five days are."""
    known = logged(days)
    hours = (np.asarray(known.at_seconds) - NOW.timestamp()) / 3600
    spells = 3 * np.sin(hours / 24 * 2.1) + 2 * np.sin(hours / 24 * 0.9)
    return known._replace(celsius=np.asarray(known.celsius) + spells - cooler * (hours > -120))


def test_a_silence_is_as_unknown_as_the_days_ahead_however_warm_its_last_day() -> None:
    made = line(without(swinging(40, cooler=-8), NOW - 12 * DAY, NOW + DAY), days=40)
    silent = slice(24 * 28, 24 * 40)
    assert made.filled[silent].all()
    ahead = line(swinging(28), days=28)
    assert made.error_c[24 * 38] > 0.9 * ahead.error_c[24 * 38]
    assert abs(made.celsius[24 * 36 : 24 * 40].mean() - 22) < 2  # the spell of the last day has faded
    widths = [hours_wide(outlook(without(swinging(45), NOW - n * DAY, NOW + DAY))) for n in (1, 3, 6)]
    assert widths == sorted(widths)
    assert widths[2] > 1.15 * widths[0]


def test_a_cool_spell_fades_from_the_days_to_come() -> None:
    made = line(swinging(30, cooler=8), days=30)
    past, tomorrow, in_ten_days = (made.celsius[24 * n : 24 * n + 24].mean() for n in (29, 30, 39))
    assert past < tomorrow < in_ten_days - 2


def test_nothing_is_overdue_on_guessed_warmth_alone() -> None:
    """Due long ago if it was as warm as before; nobody measured whether it was."""
    measured = outlook(logged(45), 30)
    silent = outlook(without(logged(45), NOW - 25 * DAY, NOW + DAY), 30)
    assert measured.overdue
    assert silent.time_left < 0.2
    assert not silent.overdue
    just_before = outlook(without(logged(45), NOW - 2 * DAY, NOW + DAY), 30)
    assert just_before.overdue


def test_a_pupa_whose_warmth_was_guessed_teaches_less(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody measured for three weeks; that it came out early then says less than if the guess were sure."""
    formed, out = NOW - 25 * DAY, NOW - 14 * DAY
    early = Finished(formed - HOUR, formed, out - HOUR, out, [Stay(formed, "porch")])
    known = without(swinging(60), NOW - 24 * DAY, NOW - 4 * DAY)

    def shift() -> float:
        taught, plain = (forecaster(MONARCH, Conditions(SKY, {"porch": known}), NOW, own) for own in ([early], []))
        return 1 - taught.belief(22).mean()[1] / plain.belief(22).mean()[1]

    honest = shift()
    monkeypatch.setattr("pupawatch.care.forecast.engine.GUESSED_HOURS", 9999)
    assert 0 < honest < 0.9 * shift()


def test_loggers_that_disagree_widen_the_answer() -> None:
    assert hours_wide(outlook(logged(20)._replace(error_c=2.0))) > hours_wide(outlook(logged(20))) + 12
    assert not line(logged(20)._replace(error_c=2.0)).filled.any()


def test_what_loggers_err_by_is_learned_with_the_pupae_of_their_place() -> None:
    """Two loggers 2 °C apart leave one degree open. Pupae that emerged beside them needed so much by the same loggers;
    those of another place say nothing of it."""
    known = logged(60)._replace(error_c=1.0)
    pupa = Watched(NOW - 4 * DAY, NOW - 4 * DAY, NOW, [Stay(NOW - 4 * DAY, "porch")])

    def hours_for(place: str, error_c: float) -> float:
        here = {name: known._replace(error_c=error_c) for name in ("porch", "shelf")}
        begun = [NOW - (20 + n) * DAY for n in range(12)]
        own = [
            Finished(at, at, at + 11.5 * DAY + n % 3 * DAY / 3, at + 12 * DAY + n % 3 * DAY / 3, [Stay(at, place)])
            for n, at in enumerate(begun)
        ]
        return hours_wide(forecaster(MONARCH, Conditions(SKY, here), NOW, own).outlooks([pupa])[0])

    assert hours_for("porch", 1.0) < 0.8 * hours_for("shelf", 1.0)
    assert hours_for("porch", 1.0) < 1.2 * hours_for("porch", 0.0)
    assert hours_for("shelf", 1.0) > 1.2 * hours_for("shelf", 0.0)
