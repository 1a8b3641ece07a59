"""What the forecast says, and how it behaves when something happens. Where no source stands: common practice."""

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as run_with
from hypothesis import strategies as st

from pupawatch import settings
from pupawatch.care.forecast import (
    Conditions,
    DayRange,
    Finished,
    Outlook,
    Sighting,
    Stay,
    Temperatures,
    Watched,
    forecaster,
)
from pupawatch.care.forecast.ahead import last_good_day_to_move
from pupawatch.care.forecast.records import Grounds
from pupawatch.care.forecast.rest import limit_at, odds
from pupawatch.care.forecast.sun import Sky
from pupawatch.exchange.records import outlook_record
from pupawatch.words.forecast import due_words, explained, odds_words, outlook_notes, signs_to_check

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SPECIES = settings.load().species
MONARCH = SPECIES["monarch"]
SKY = Sky("America/Chicago", 38.97, -95.24)
NOW = datetime(2026, 8, 10, 13, 0, tzinfo=UTC)  # eight in the morning in Kansas, ninety minutes after sunrise


def conditions(**places: Temperatures) -> Conditions:
    return Conditions(SKY, places)


ROOM = conditions(shelf=Temperatures(constant_c=22.0), cellar=Temperatures(constant_c=15.0))


def hung(days: float, place: str = "shelf", *sightings: Sighting) -> Watched:
    """A pupa that formed so many days before NOW, within twelve hours, and was looked at this morning."""
    formed = NOW - days * DAY
    return Watched(formed - 12 * HOUR, formed, max(formed, NOW - HOUR), [Stay(formed, place)], sightings)


def outlook(pupa: Watched, known: Conditions = ROOM, now: datetime = NOW, species: str = "monarch") -> Outlook:
    return forecaster(SPECIES[species], known, now).outlooks([pupa])[0]


def days_until(moment: datetime | None, now: datetime = NOW) -> float:
    assert moment is not None
    return (moment - now) / DAY


def width(seen: Outlook) -> float:
    assert seen.low is not None
    return days_until(seen.high) - days_until(seen.low)


@run_with(max_examples=25, deadline=None)
@given(st.floats(0, 40), st.floats(8, 36), st.sampled_from(["", "soft", "set", "darkening", "clear"]))
def test_the_chances_are_chances_whatever_hangs_and_however_warm(days: float, celsius: float, stage: str) -> None:
    sightings = [Sighting(NOW - HOUR, stage)] if stage else []
    seen = outlook(hung(days, "shelf", *sightings), conditions(shelf=Temperatures(constant_c=celsius)))
    chances = [p for _, p in seen.by_day]
    assert all(-1e-9 <= p <= 1 + 1e-9 for p in [*chances, seen.already, seen.later, seen.time_left])
    assert sum(chances) + seen.later <= 1 + 1e-6
    found = [at for at in (seen.low, seen.median, seen.high) if at is not None]
    assert found == sorted(found)
    assert seen.low is None or seen.low >= NOW - HOUR  # not before it was last seen inside


def test_the_days_told_the_days_past_and_the_time_beyond_make_up_the_whole() -> None:
    """Nobody looked for three days, so it may be out already."""
    pupa, midnight = hung(11)._replace(alive_at=NOW - 3 * DAY), datetime(2026, 8, 10, 5, tzinfo=UTC)
    teller = forecaster(MONARCH, ROOM, NOW)
    seen, found = teller.outlooks([pupa])[0], teller.distributions([pupa])[0]
    past = float(found.by(np.array(midnight.timestamp() / 3600)))
    assert past > 0.02
    assert past + sum(p for _, p in seen.by_day) + seen.later == pytest.approx(1, abs=0.006)


def test_adults_are_foretold_for_the_morning() -> None:
    """Froy et al. 2003, Science 300:1303-1305: the clock that light sets; by default sunrise to five hours after."""
    found = forecaster(MONARCH, ROOM, NOW).distributions([hung(6)])[0]
    in_windows = 0.0
    for n in range(30):
        dawn = SKY.dawn((NOW + n * DAY).date()).timestamp() / 3600
        begin, end = found.by(np.array([dawn, dawn + 5]))
        in_windows += float(end - begin)
    assert in_windows == pytest.approx(0.95, abs=0.01)


def test_the_morning_is_the_window_that_closes_next() -> None:
    seen = outlook(hung(12))
    assert seen.morning is not None
    assert abs(seen.morning.start - SKY.dawn(date(2026, 8, 10))) < timedelta(seconds=1)
    assert seen.morning.end - seen.morning.start == 5 * HOUR
    assert 0.05 < seen.morning.p < 0.5
    noon = outlook(hung(12), now=NOW + 8 * HOUR)
    assert noon.morning is not None
    assert abs(noon.morning.start - SKY.dawn(date(2026, 8, 11))) < timedelta(seconds=1)


def test_warmth_hastens_and_cold_delays() -> None:
    """Ragonese et al. 2024: 20 days at 18 °C, 8 at 26 °C."""
    known = conditions(cool=Temperatures(constant_c=18.0), warm=Temperatures(constant_c=26.0))
    cool, warm = forecaster(MONARCH, known, NOW).outlooks([hung(0, "cool"), hung(0, "warm")])
    assert 18 < days_until(cool.median) < 23
    assert 7 < days_until(warm.median) < 11


def test_a_move_to_a_colder_place_delays_from_then_on() -> None:
    moved = hung(6)._replace(stays=[Stay(NOW - 6 * DAY, "shelf"), Stay(NOW - 3 * DAY, "cellar")])
    stayed, went, always = (outlook(p) for p in (hung(6), moved, hung(6, "cellar")))
    assert days_until(stayed.median) + 3 < days_until(went.median) < days_until(always.median) - 3


def test_darkening_brings_it_within_days_and_clear_within_one() -> None:
    """The Book of Caterpillars, ed. James 2017, p. 23: dark for one to three days, clear on the last."""
    dark = outlook(hung(6, "shelf", Sighting(NOW - DAY, "set"), Sighting(NOW - HOUR, "darkening")))
    clear = outlook(hung(6, "shelf", Sighting(NOW - DAY, "darkening"), Sighting(NOW - HOUR, "clear")))
    assert days_until(outlook(hung(6)).median) > 4
    assert 0.3 < days_until(dark.median) < 3.2
    assert days_until(clear.high) < 1.7


def test_the_cold_stretches_darkening_too() -> None:
    sightings = [Sighting(NOW - DAY, "set"), Sighting(NOW - HOUR, "darkening")]
    warm, cold = outlook(hung(12, "shelf", *sightings)), outlook(hung(24, "cellar", *sightings))
    assert days_until(cold.median) > days_until(warm.median) + 1


def test_a_pupa_still_green_this_morning_is_not_foretold_for_today() -> None:
    green = outlook(hung(12, "shelf", Sighting(NOW - HOUR, "set")))
    unseen = outlook(hung(12))
    assert green.by_day[0][1] < 0.02 < unseen.by_day[0][1]


def test_waiting_beyond_the_time_makes_it_overdue_with_signs_and_never_dead() -> None:
    seen = outlook(hung(27))
    assert seen.overdue
    assert seen.time_left < 0.02
    assert any("lateness alone does not mean it is dead" in sign for sign in signs_to_check(seen))
    assert seen.median is not None
    assert not outlook(hung(13)).overdue
    assert signs_to_check(outlook(hung(13))) == []


def test_the_longer_it_is_overdue_the_wider_the_answer() -> None:
    """It widens rather than insisting on tomorrow."""
    widths = [width(outlook(hung(days))) for days in (11, 17, 22, 30)]
    assert widths[1:] == sorted(widths[1:])
    assert widths[-1] > 2 * widths[0]


def test_a_pupa_dark_for_a_week_is_overdue_in_a_warm_room_only() -> None:
    since = [Sighting(NOW - 8 * DAY, "set"), Sighting(NOW - 7 * DAY, "darkening")]
    warm = conditions(shelf=Temperatures(constant_c=26.0))
    assert outlook(hung(16, "shelf", *since), warm).overdue
    assert not outlook(hung(16, "shelf", *since[:1], Sighting(NOW - DAY, "darkening")), warm).overdue


def test_cool_weeks_do_not_make_it_overdue() -> None:
    assert not outlook(hung(30, "cellar")).overdue


def test_without_temperatures_the_calendar_answers_and_says_so() -> None:
    """Four in five of what is foretold at formation lie in the profile's usual 8 to 15 days, to half a day."""
    seen = outlook(hung(0, "unmeasured"))
    assert seen.basis == "calendar"
    assert "by the calendar only" in outlook_notes(seen)[0]
    assert days_until(seen.low) == pytest.approx(MONARCH.pupal_days_low, abs=0.9)
    assert days_until(seen.high) == pytest.approx(MONARCH.pupal_days_high, abs=0.9)


def test_without_temperatures_none_is_overdue_before_the_longest_that_cold_was_told_to_take() -> None:
    """Nobody knows how warm it was. A gardener's weblog: 29 days in a mild February; beyond 45 reasoned."""
    assert outlook(hung(25)).overdue
    assert not outlook(hung(40, "unmeasured")).overdue
    assert outlook(hung(50, "unmeasured")).overdue
    since = [Sighting(NOW - 13 * DAY, "set"), Sighting(NOW - 12 * DAY, "darkening")]
    assert outlook(hung(30, "unmeasured", *since)).overdue  # dark for so long, whatever the calendar says


def test_what_is_left_of_those_that_may_rest_counts_those_that_do() -> None:
    """The law of total probability, by the odds from before it was seen to wait."""
    known = Conditions(Sky("America/New_York", 26.0, -80.2), ROOM.temperatures)
    fresh, waited = (outlook(hung(days), known, species="black-swallowtail") for days in (1, 40))
    assert waited.rests > 0.99
    assert waited.time_left == pytest.approx(fresh.rests, abs=0.02)


def test_a_place_never_measured_on_its_way_leaves_only_the_calendar() -> None:
    moved = hung(6)._replace(stays=[Stay(NOW - 6 * DAY, "unmeasured"), Stay(NOW - 3 * DAY, "shelf")])
    assert outlook(moved).basis == "calendar"


def test_a_swallowtail_of_short_days_gets_a_sentence_and_no_date() -> None:
    """Hazel & West 1983, Ecol. Entomol. 8:37-42, and Valella & Scriber 2003: short days give resting pupae."""
    late = datetime(2026, 9, 20, 13, tzinfo=UTC)
    pupa = Watched(late - 3 * DAY, late - 2 * DAY, late, [Stay(late - 2 * DAY, "shelf")])
    resting = outlook(pupa, now=late, species="black-swallowtail")
    assert (resting.basis, resting.median, resting.by_day, resting.overdue) == ("rest", None, (), False)
    assert "may rest until spring" in outlook_notes(resting)[0]
    months_later = outlook(pupa._replace(alive_at=late + 80 * DAY), now=late + 80 * DAY, species="black-swallowtail")
    assert months_later.basis == "rest"
    assert not months_later.overdue
    summer = late + 370 * DAY  # none is written off before a year has passed
    past_its_spring = outlook(pupa._replace(alive_at=summer), now=summer, species="black-swallowtail")
    assert past_its_spring.overdue


def test_a_swallowtail_of_june_gets_its_date_and_a_darkening_one_always() -> None:
    june, spring = datetime(2026, 6, 20, 13, tzinfo=UTC), datetime(2027, 4, 20, 13, tzinfo=UTC)
    early = Watched(june - 3 * DAY, june - 2 * DAY, june, [Stay(june - 2 * DAY, "shelf")])
    assert outlook(early, now=june, species="black-swallowtail").median is not None
    formed = datetime(2026, 9, 18, 13, tzinfo=UTC)
    sightings = [Sighting(spring - DAY, "set"), Sighting(spring, "darkening")]
    waking = Watched(formed - DAY, formed, spring, [Stay(formed, "shelf")], sightings)
    assert days_until(outlook(waking, now=spring, species="black-swallowtail").high, spring) < 6


def test_where_no_place_is_told_a_swallowtail_is_foretold_with_a_warning() -> None:
    known = Conditions(Sky("America/Chicago"), ROOM.temperatures)
    notes = outlook_notes(outlook(hung(2), known, species="black-swallowtail"))
    assert any("whether it may rest until spring is unknown" in note for note in notes)
    told = outlook(hung(2), known, species="black-swallowtail")
    assert (told.basis, told.rests) == ("rest", pytest.approx(0.5, abs=0.01))
    assert told.otherwise is not None  # the better of both answers: a date, and what to do after it
    waited = outlook(hung(40), known, species="black-swallowtail")
    assert waited.rests > 0.99
    assert not waited.overdue


def test_where_a_part_does_not_rest_both_possibilities_are_told_with_their_odds() -> None:
    """Sims 2007: in the far south 35 to 52 % rest at 12 to 16 h of light."""
    known = Conditions(Sky("America/New_York", 26.0, -80.2), ROOM.temperatures)
    fresh, waited = (outlook(hung(days), known, species="black-swallowtail") for days in (1, 30))
    assert 0.3 < fresh.rests < 0.55
    assert fresh.median is not None
    assert sum(p for _, p in fresh.by_day) == pytest.approx(1 - fresh.rests, abs=0.02)
    assert waited.rests > 0.95  # it waits, so it rests
    assert (waited.basis, waited.overdue) == ("rest", False)
    assert "Rests until spring" in odds_words(waited, NOW, SKY.zone)


def test_the_odds_of_resting_follow_day_length_and_latitude() -> None:
    """Valella & Scriber 2003: half rest at 14.5-15 h in Michigan, 14-14.5 in Ohio, 12-12.5 in Florida."""
    troilus = SPECIES["spicebush-swallowtail"].heat
    assert troilus.rest_day_length_hours is not None
    limits = [limit_at(troilus.rest_day_length_hours, latitude) for latitude in (43, 40, 33.5, 28)]
    assert limits == [14.5, 14.0, 13.5, 12.0]
    may, september = (Watched(at, at, at, [Stay(at, "shelf")]) for at in (NOW - 50 * DAY, NOW + 45 * DAY))
    profile = SPECIES["black-swallowtail"]
    assert odds(profile, SKY, may, NOW) == 0
    assert odds(profile, SKY, september, NOW) > 0.9
    assert odds(MONARCH, SKY, september, NOW) == 0


def test_in_spring_warmth_is_counted_since_winter() -> None:
    """Wintered pupae of Papilio troilus: 18 to 36 days at 22 °C, 36 to 69 at 18 °C, none within 88 days at 14 °C."""
    formed, spring = datetime(2026, 9, 18, 13, tzinfo=UTC), datetime(2027, 4, 1, 13, tzinfo=UTC)
    cold = [DayRange(formed.date() + n * DAY, 2, 6) for n in range(195)]
    for celsius, low, high in ((22, 18, 36), (18, 36, 69)):
        warm = [DayRange(spring.date() + n * DAY, celsius, celsius) for n in range(75)]
        known = conditions(shelf=Temperatures(days=cold, expected=warm))
        pupa = Watched(formed - DAY, formed, spring, [Stay(formed, "shelf")])
        seen = outlook(pupa, known, spring, "spicebush-swallowtail")
        assert low < days_until(seen.median, spring) < high
        assert any("from the coldest part" in note for note in outlook_notes(seen))


def test_where_it_is_too_cold_to_finish_it_is_to_be_brought_in() -> None:
    """A monarch outdoors at 45° north in late September; the longest pupal time told of is 29 days."""
    late = datetime(2026, 9, 26, 13, tzinfo=UTC)
    days = [DayRange(late.date() - n * DAY, 5 + n % 4, 14 + n % 5) for n in range(30, -1, -1)]
    known = Conditions(Sky("America/Chicago", 45.0, -93.0), {"porch": Temperatures(days=days)})
    pupa = Watched(late - 2 * DAY, late - DAY, late, [Stay(late - DAY, "porch")])
    assert due_words(outlook(pupa, known, late), late, SKY.zone) == "too cold to finish here: bring it in"
    assert any("bring it" in note for note in outlook_notes(outlook(pupa, known, late)))
    assert not outlook(hung(2)).too_cold


def own(days: float, count: int, place: str = "shelf") -> list[Finished]:
    """The keeper's finished pupae: formed within half a day, out within a morning's round, so many days later."""
    begins = [NOW - (40 - n) * DAY for n in range(count)]
    return [
        Finished(at - 12 * HOUR, at, at + days * DAY - 20 * HOUR, at + days * DAY, [Stay(at, place)]) for at in begins
    ]


def test_the_keepers_own_slow_pupae_delay_the_next_and_narrow_its_interval() -> None:
    untaught = outlook(hung(0))
    slow = forecaster(MONARCH, ROOM, NOW, own(15, 20)).outlooks([hung(0)])[0]
    assert days_until(slow.median) > days_until(untaught.median) + 1.5
    assert width(slow) < width(untaught)
    assert "corrected by 20 of your own pupae" in outlook_notes(slow)


def test_pupae_of_a_warm_room_say_little_of_a_cold_one() -> None:
    known = conditions(hot=Temperatures(constant_c=29.0), shelf=Temperatures(constant_c=22.0))
    teacher = forecaster(MONARCH, known, NOW, own(9, 40, "hot"))
    warm, cold = teacher.belief(29), teacher.belief(15)
    before = forecaster(MONARCH, known, NOW).belief(15).mean()[1]
    assert abs(cold.mean()[1] - before) < abs(warm.mean()[1] - before)


def test_a_pupa_that_emerges_later_than_now_teaches_nothing_yet() -> None:
    future = [pupa._replace(emerged_from=NOW, emerged_to=NOW + HOUR) for pupa in own(15, 5)]
    assert forecaster(MONARCH, ROOM, NOW, future).belief().learned == 0


def test_one_absurd_record_does_not_carry_the_forecast_away() -> None:
    absurd = [*own(12, 10), own(12, 1)[0]._replace(emerged_from=NOW - 37 * DAY, emerged_to=NOW - 36 * DAY)]
    with_it = forecaster(MONARCH, ROOM, NOW, absurd).outlooks([hung(0)])[0]
    without = forecaster(MONARCH, ROOM, NOW, own(12, 10)).outlooks([hung(0)])[0]
    assert abs(days_until(with_it.median) - days_until(without.median)) < 1


def test_nobody_knows_when_it_formed_so_the_date_is_wide_and_says_so() -> None:
    unknown = outlook(hung(2)._replace(formed_from=None))
    assert width(unknown) > width(outlook(hung(2))) + 2
    assert any("its pupation time is not known" in note for note in outlook_notes(unknown))
    soft = outlook(hung(0.1, "shelf", Sighting(NOW - 2 * HOUR, "soft"))._replace(formed_from=None))
    assert width(soft) < width(unknown)


def test_the_last_good_day_to_move_comes_before_the_darkening() -> None:
    seen = outlook(hung(4))
    last = last_good_day_to_move(seen, MONARCH, SKY.zone)
    assert last is not None
    assert seen.low is not None
    assert 1 <= (seen.low.astimezone(ZoneInfo(SKY.zone)).date() - last).days <= 3
    assert last_good_day_to_move(outlook(hung(12)), MONARCH, SKY.zone) is None


def test_looking_at_the_rule_and_the_round_loads_no_numpy() -> None:
    code = (
        "import sys; import pupawatch.care.hang, pupawatch.care.round, pupawatch.care.forecast;"
        "import pupawatch.care.forecast.scoring;"
        "import pupawatch.care.forecast.pupae, pupawatch.care.forecast.ahead;"
        "sys.exit(any(name in sys.modules for name in ('numpy', 'scipy', 'astral', 'textual')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_profile_with_impossible_heat_is_refused() -> None:
    heat = msgspec.to_builtins(MONARCH.heat)
    for change in ({"base_temp_c": 21.0, "reference_temp_c": 22.0}, {"emergence_to_hours": 0.1}, {"cap_temp_c": 10}):
        with pytest.raises(msgspec.ValidationError):
            msgspec.convert({**heat, **change}, type(MONARCH.heat))


def test_how_a_date_comes_about_is_told_with_heat_so_far_and_needed() -> None:
    """By hand: four days at a constant 22 °C, 9.5 above the base of 12.5 °C, are 38 degree-days of about 116."""
    pupa = hung(4)._replace(formed_from=NOW - 4 * DAY)
    grounds = outlook(pupa).grounds
    assert isinstance(grounds, Grounds)
    assert grounds.warmth is not None
    assert grounds.warmth.base_c == pytest.approx(12.5, abs=0.1)
    assert grounds.warmth.so_far_cd == pytest.approx(38, abs=1)
    assert grounds.warmth.need_cd == pytest.approx(116, abs=3)
    assert "heat so far 38 of about 116 degree-days above 12.5 °C (33 %)" in outlook_notes(outlook(pupa))
    assert outlook(hung(4, "unmeasured")).grounds.warmth is None  # type: ignore[union-attr]


def test_where_the_uncertainty_comes_from_is_told() -> None:
    teller = forecaster(MONARCH, ROOM, NOW)
    wide = hung(4)._replace(formed_from=NOW - 8 * DAY)
    widths = teller.widths(wide)
    assert widths.now is not None
    assert widths.weather is not None
    assert widths.pupation is not None
    assert widths.pupation < widths.now - 0.5
    assert widths.weather <= widths.now + 0.05
    told = explained(teller.outlooks([wide])[0], widths)
    assert any("four in five such pupae need" in line for line in told)
    assert any("if its pupation time were known" in line for line in told)


def test_the_days_shown_are_those_of_low_and_high_and_survival_is_what_is_left() -> None:
    seen = outlook(hung(10))
    assert seen.low is not None
    assert seen.high is not None
    assert seen.days == tuple(at.astimezone(ZoneInfo(SKY.zone)).date() for at in (seen.low, seen.high))
    record = outlook_record(seen, 0.94)
    assert record["days"] == {"low": seen.days[0].isoformat(), "high": seen.days[1].isoformat()}
    assert len(record["survival"]) == len(seen.inside) == len(seen.looks)
    assert record["survival"][0]["p"] == pytest.approx(1 - record["already"], abs=1e-4)
    assert [one["p"] for one in record["survival"]] == sorted((one["p"] for one in record["survival"]), reverse=True)
    assert record["morning"]["p"] == pytest.approx(seen.morning.p if seen.morning else -1, abs=1e-4)


def test_what_was_learned_in_one_warmth_holds_in_part_in_any_other() -> None:
    """Twenty own pupae at 22 °C, a fifth faster than the profile: in part they are so at 30 °C too."""
    known = conditions(shelf=Temperatures(constant_c=22.0), hot=Temperatures(constant_c=30.0))
    plain, taught = forecaster(MONARCH, known, NOW), forecaster(MONARCH, known, NOW, own(10, 20))
    faster = [taught.belief(celsius).mean()[1] / plain.belief(celsius).mean()[1] for celsius in (22, 26, 30, 34)]
    assert faster == sorted(faster)
    assert faster[0] < 0.86
    assert faster[2] < 0.96
    assert faster[3] < 0.97
