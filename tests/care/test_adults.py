"""The clocks of a fresh adult, what it is ready for, and whether it should be released now.

The hours are those of the shipped monarch profile (see tests/outside/test_adults.py for their sources); how they are
counted from an emergence that is only known as an interval is this program's own promise.
"""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch import settings as files
from pupawatch.care import adults
from pupawatch.care.adults import Weather
from pupawatch.model import entries as kinds
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State
from pupawatch.words.adults import advice_words

DAWN = datetime(2026, 8, 14, 6, 0, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    loaded = files.load(tmp_path_factory.mktemp("none"))
    return msgspec.structs.replace(loaded, zone="UTC", places=[Place(name="Roof", surface="mesh")])


def entry(
    kind: type[kinds.Entry], at: datetime, pupa: str = "p", since: datetime | None = None, **fields: object
) -> kinds.Entry:
    stamp = f"{kind.__name__}{at.isoformat()}{pupa}{sorted(fields.items())}"
    common = {"id": stamp, "act": stamp, "happened": at, "recorded": at, "zone": "UTC", "since": since, **fields}
    return kind(**common, pupa=pupa)


def adult(*more: kinds.Entry, since: datetime | None = None, pupa: str = "p", label: str = "A1") -> Pupa:
    """An adult that came out at dawn (or between ``since`` and then), and what was seen of it afterwards."""
    return fold(pupa, _out(since, pupa, label) + list(more))


def _out(since: datetime | None = None, pupa: str = "p", label: str = "A1") -> list[kinds.Entry]:
    formed = DAWN - 240 * HOUR
    return [
        entry(kinds.Found, formed, pupa, label=label, species="monarch", place="Roof"),
        entry(kinds.Emerged, DAWN, pupa, since=since),
    ]


def phase(pupa: Pupa, hours: float, settings: Settings) -> str:
    return adults.butterfly(pupa, DAWN + hours * HOUR, settings).phase


# -- clocks


def test_a_seen_emergence_starts_every_clock_at_once(settings: Settings) -> None:
    told = adults.clocks(adult(), settings)
    assert told.hang_by == DAWN + 10 * MINUTE
    assert told.wings_full == (DAWN + 10 * MINUTE, DAWN + 40 * MINUTE)
    assert told.hard == (DAWN + 30 * MINUTE, DAWN + 3 * HOUR)
    assert (told.judge_from, told.handle_from) == (DAWN + 4 * HOUR, DAWN + 4 * HOUR)
    assert (told.mark_from, told.release_from) == (DAWN + 6 * HOUR, DAWN + 24 * HOUR)


def test_an_emergence_of_the_night_hurries_from_its_earliest_and_waits_from_its_latest_instant(
    settings: Settings,
) -> None:
    told = adults.clocks(adult(since=DAWN - 12 * HOUR), settings)
    assert told.hang_by == DAWN  # found out: it should hang now
    assert told.wings_full == (DAWN - 12 * HOUR + 10 * MINUTE, DAWN + 40 * MINUTE)
    assert told.mark_from == DAWN + 6 * HOUR


@given(st.floats(0, 14), st.sampled_from(["monarch", "queen", "painted-lady", "large-white"]))
def test_clocks_never_run_backwards(hours: float, species: str) -> None:
    settings = files.load()
    pupa = adult(since=DAWN - hours * HOUR)
    pupa.species = species
    told = adults.clocks(pupa, settings)
    steps = [told.wings_full.until, told.hard.until, told.handle_from, told.mark_from]
    assert all(earlier <= later for earlier, later in pairwise(steps))
    assert told.hang_by >= DAWN


def test_hours_are_elapsed_hours_across_a_change_of_summer_time(settings: Settings) -> None:
    """The clocks went back in Chicago on 1 November 2026 at 02:00 (IANA time zone database)."""
    zoned = msgspec.structs.replace(settings, zone="America/Chicago")
    out = datetime(2026, 11, 1, 6, 0, tzinfo=UTC)  # 01:00, an hour before they went back
    pupa = fold(
        "p", [entry(kinds.Found, out - HOUR, label="A1", species="monarch", place="Roof"), entry(kinds.Emerged, out)]
    )
    assert adults.clocks(pupa, zoned).mark_from == out + 6 * HOUR
    assert adults.age_hours(pupa, out + 2 * HOUR) == (2, 2)


# -- phases


def test_the_phases_come_in_their_order(settings: Settings) -> None:
    judged = adult(entry(kinds.Wings, DAWN + 5 * HOUR, condition="sound"))
    told = [phase(judged, hours, settings) for hours in (0.1, 1, 3.5, 4.5, 7, 25)]
    assert told == ["expanding", "drying", "resting", "handle", "mark", "ready"]
    assert phase(adult(), 4.5, settings) == "judge"


def test_wings_said_to_be_full_end_the_expanding(settings: Settings) -> None:
    assert phase(adult(entry(kinds.AdultSeen, DAWN + 15 * MINUTE, what="full")), 0.3, settings) == "drying"


def test_a_fall_with_soft_wings_is_the_alarm_until_it_climbed_or_was_helped(settings: Settings) -> None:
    fell = entry(kinds.AdultSeen, DAWN + 5 * MINUTE, what="fell")
    assert adults.butterfly(adult(fell), DAWN + 6 * MINUTE, settings).alarm
    for what in ("climbed", "helped"):
        up = entry(kinds.AdultSeen, DAWN + 8 * MINUTE, what=what)
        assert not adults.butterfly(adult(fell, up), DAWN + 9 * MINUTE, settings).alarm
        again = entry(kinds.AdultSeen, DAWN + 20 * MINUTE, what="fell")
        assert adults.butterfly(adult(fell, up, again), DAWN + 21 * MINUTE, settings).alarm


def test_a_fall_with_hard_wings_is_no_alarm(settings: Settings) -> None:
    fell = entry(kinds.AdultSeen, DAWN + 5 * MINUTE, what="fell")
    assert not adults.butterfly(adult(fell), DAWN + 3 * HOUR, settings).alarm


def test_an_adult_that_cannot_fly_asks_where_it_is_kept(settings: Settings) -> None:
    crumpled = entry(kinds.Wings, DAWN + 4 * HOUR, condition="crumpled")
    assert phase(adult(crumpled), 30, settings) == "flightless"
    assert phase(adult(crumpled, entry(kinds.Kept, DAWN + 5 * HOUR, place="Net")), 30, settings) == "kept"
    assert phase(adult(entry(kinds.Wings, DAWN + 4 * HOUR, condition="creased")), 30, settings) == "ready"


def test_what_cannot_fly_is_a_setting(settings: Settings) -> None:
    stricter = msgspec.structs.replace(settings, care=msgspec.structs.replace(settings.care, cannot_fly=["creased"]))
    creased = adult(entry(kinds.Wings, DAWN + 4 * HOUR, condition="creased"))
    assert phase(creased, 30, stricter) == "flightless"


# -- the watch


def test_the_watch_shows_this_mornings_adults_and_the_dark_and_clear(settings: Settings) -> None:
    clear = _pupa("c", "C1", "clear")
    dark = _pupa("d", "D1", "darkening")
    firm = _pupa("f", "F1", "set")
    yesterday = [entry(kinds.Found, DAWN - 300 * HOUR, "y", label="Y1", species="monarch", place="Roof"),
                 entry(kinds.Emerged, DAWN - 26 * HOUR, "y")]  # fmt: skip
    state = State([*_out(), *clear, *dark, *firm, *yesterday])
    seen = adults.watch(state, DAWN + HOUR, settings)
    assert [b.pupa.label for b in seen.fresh] == ["A1"]
    assert [c.pupa.label for c in seen.coming] == ["C1", "D1"]
    assert seen.alarms == []


def test_what_lies_on_the_floor_stands_first(settings: Settings) -> None:
    fell = entry(kinds.AdultSeen, DAWN + 5 * MINUTE, "q", what="fell")
    state = State([*_out(), *_out(pupa="q", label="Z9"), fell])
    seen = adults.watch(state, DAWN + 6 * MINUTE, settings)
    assert [b.pupa.label for b in seen.fresh] == ["Z9", "A1"]
    assert [b.pupa.label for b in seen.alarms] == ["Z9"]
    assert adults.on_the_floor(state, DAWN + 6 * MINUTE, settings) == ["Z9"]


def test_those_let_fly_lost_or_dead_are_watched_no_more(settings: Settings) -> None:
    for end in (
        entry(kinds.Released, DAWN + HOUR),
        entry(kinds.AdultSeen, DAWN + HOUR, what="died"),
        entry(kinds.Lost, DAWN + HOUR, cause="stuck"),
    ):
        state = State([*_out(), end])
        assert adults.watch(state, DAWN + 2 * HOUR, settings).fresh == []
        assert adults.living(state, DAWN + 2 * HOUR, settings) == []


@given(st.permutations(range(6)))
def test_the_watch_is_the_same_in_whatever_order_the_entries_come(order: list[int]) -> None:
    settings = files.load()
    told = [
        *_out(),
        entry(kinds.AdultSeen, DAWN + 5 * MINUTE, what="fell"),
        entry(kinds.AdultSeen, DAWN + 9 * MINUTE, what="helped"),
        entry(kinds.AdultSeen, DAWN + 30 * MINUTE, what="full"),
        entry(kinds.Wings, DAWN + 5 * HOUR, condition="sound"),
    ]
    for minutes in (7, 12, 45, 400):
        now = DAWN + minutes * MINUTE
        expected = adults.watch(State([e for e in told if e.happened <= now]), now, settings)
        given = adults.watch(State([told[i] for i in order if told[i].happened <= now]), now, settings)
        assert given == expected


def _pupa(pupa: str, label: str, stage: str) -> list[kinds.Entry]:
    return [
        entry(kinds.Found, DAWN - 200 * HOUR, pupa, label=label, species="monarch", place="Roof"),
        entry(kinds.Seen, DAWN - 2 * HOUR, pupa, stage=stage),
    ]


# -- letting fly

SOUND = entry(kinds.Wings, DAWN + 5 * HOUR, condition="sound")
NOON = DAWN + 30 * HOUR  # 12:00 on the next day


def advised(weather: Weather, settings: Settings, now: datetime = NOON, *more: kinds.Entry) -> adults.ReleaseAdvice:
    return adults.release_advice(adult(SOUND, *more), now, weather, settings)


def test_a_warm_dry_noon_is_good_to_fly(settings: Settings) -> None:
    assert advised(Weather(22, "sun"), settings) == (True, [], None, [], "")


@pytest.mark.parametrize(("warm", "sky", "good"), [(16, "cloud", True), (15.9, "cloud", False), (13, "sun", True),
                                                   (12.9, "sun", False), (15.9, "", False)])  # fmt: skip
def test_cold_keeps_it_by_the_sky(settings: Settings, warm: float, sky: str, good: bool) -> None:
    told = advised(Weather(warm, sky), settings)
    assert told.now is good
    assert good or "it flies from" in told.against[0]


def test_rain_keeps_it(settings: Settings) -> None:
    told = advised(Weather(25, "rain"), settings)
    assert (told.now, told.against) == (False, ["rain: wait until it is dry"])


def test_too_early_says_when(settings: Settings) -> None:
    told = advised(Weather(22, "sun"), settings, DAWN + 7 * HOUR)
    assert not told.now
    assert told.when == DAWN + 27 * HOUR  # 24 h after emergence is 06:00; the day begins to be good at 09:00


def test_an_evening_waits_for_the_morning(settings: Settings) -> None:
    told = advised(Weather(22, "sun"), settings, DAWN + 36 * HOUR)  # 18:00
    assert told.when == DAWN + 51 * HOUR  # 09:00 on the day after
    assert "between 09:00 and 16:00" in told.against[0]


def test_unsaid_weather_is_no_reason_against_but_told(settings: Settings) -> None:
    told = advised(Weather(), settings)
    assert told.now
    assert "16 °C under cloud" in told.notes[0]


def test_a_heavy_spore_load_is_asked_about_with_both_positions(settings: Settings) -> None:
    for load, asked in ((3, False), (4, True)):
        found = entry(kinds.Finding, DAWN + 6 * HOUR, sign="spores", load=load)
        told = advised(Weather(22, "sun"), settings, NOON, found)
        assert (told.now, told.asks != "") == (not asked, asked)
    assert "for life" in told.asks
    assert all(position in told.asks for position in settings.health.load_positions)


def test_wings_that_do_not_carry_are_never_advised_to_fly(settings: Settings) -> None:
    crumpled = adult(entry(kinds.Wings, DAWN + 5 * HOUR, condition="crumpled"))
    told = adults.release_advice(crumpled, NOON, Weather(25, "sun"), settings)
    assert (told.now, told.when) == (False, None)
    assert "crumpled" in advice_words(told, "UTC", NOON)


# -- codes


def mark(code: str, minutes: int = 0) -> kinds.Marked:
    made = entry(kinds.Marked, DAWN + minutes * MINUTE, code=code)
    assert isinstance(made, kinds.Marked)
    return made


@pytest.mark.parametrize(
    ("used", "proposed"),
    [
        (["blue-007"], "blue-008"),
        (["blue-099"], "blue-100"),
        (["X9"], "X10"),
        (["12 L"], "13 L"),
        (["left dot"], ""),
        ([], ""),
        (["A1", "A3", "A2"], "A4"),
        (["A1", "a 2", "A1"], "A3"),
    ],
)
def test_the_next_code_counts_on_past_those_that_are_used(settings: Settings, used: list[str], proposed: str) -> None:
    assert adults.next_code([mark(code, number) for number, code in enumerate(used)], settings) == proposed


def test_no_code_is_proposed_that_the_pattern_does_not_allow(settings: Settings) -> None:
    marks = msgspec.structs.replace(settings.keeper.marks, pattern="[A-Z][0-9]")
    own = msgspec.structs.replace(settings, keeper=msgspec.structs.replace(settings.keeper, marks=marks))
    assert adults.next_code([mark("A8")], own) == "A9"
    assert adults.next_code([mark("A9")], own) == ""
    assert not adults.fits("A10", own)


def test_a_season_can_span_two_calendar_years(settings: Settings) -> None:
    review = msgspec.structs.replace(settings.care.review, season_starts_month=7)
    south = msgspec.structs.replace(settings, care=msgspec.structs.replace(settings.care, review=review))
    january = datetime(2026, 1, 5, tzinfo=UTC)
    assert (adults.season(january, settings), adults.season(january, south)) == (2026, 2025)
