"""The move rule, a line of its table at a time."""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.care import hang
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.fold import fold
from pupawatch.model.ids import entry_id
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    shipped = files.load(tmp_path_factory.mktemp("no-settings"))
    places = [
        Place(name="Roof", surface="mesh"),
        Place(name="Jar", surface="glass"),
        Place(name="Porch", surface="wood", temperature_c=15),
    ]
    return msgspec.structs.replace(shipped, places=places, zone="UTC")


def entry(kind: type[Entry], hours_ago: float, since_hours_ago: float | None = None, **fields: object) -> Entry:
    at = NOW - timedelta(hours=hours_ago)
    since = None if since_hours_ago is None else NOW - timedelta(hours=since_hours_ago)
    name = f"{kind.__name__}-{hours_ago}"
    return kind(id=name, act=name, happened=at, since=since, recorded=at, zone="UTC", pupa="p", **fields)


def formed(hours_ago: float, since: float | None = None, place: str = "Roof", species: str = "monarch") -> Entry:
    return entry(kinds.Found, hours_ago, since, label="M1", species=species, place=place)


def pupa(*entries: Entry) -> Pupa:
    return fold("p", entries)


def verdict(settings: Settings, *entries: Entry) -> str:
    return hang.judge(pupa(*entries), NOW, settings).kind


def test_a_hanging_caterpillar_waits(settings: Settings) -> None:
    hanging = entry(kinds.Hanging, 5, label="M1", species="monarch", place="Roof")
    told = hang.judge(pupa(hanging), NOW, settings)
    assert (told.kind, told.movable_from) == ("wait", None)


def test_of_a_caterpillar_seen_after_it_is_said_to_have_formed_the_later_time_counts(settings: Settings) -> None:
    later = entry(kinds.Hanging, 5, label="M1", species="monarch", place="Roof")
    contradictory = pupa(formed(80), later)
    assert hang.judge(contradictory, NOW, settings).kind == "wait"
    assert contradictory.flags == ["hanging-after-formed"]
    assert pupa(entry(kinds.Hanging, 90, label="M1", species="monarch", place="Roof"), formed(80)).flags == []


def test_a_soft_pupa_waits_until_its_certain_hang_time_is_reached(settings: Settings) -> None:
    told = hang.judge(pupa(formed(23.9, since=40)), NOW, settings)
    assert told.kind == "wait"
    assert told.movable_from == NOW - timedelta(hours=23.9) + timedelta(hours=24)


def test_only_the_certain_hang_time_counts(settings: Settings) -> None:
    assert verdict(settings, formed(10, since=500)) == "wait"


def test_between_soft_and_firm_it_is_moved_with_care(settings: Settings) -> None:
    assert verdict(settings, formed(24, since=36)) == "care"
    assert verdict(settings, formed(47.9)) == "care"


def test_a_firm_pupa_is_free(settings: Settings) -> None:
    assert verdict(settings, formed(48)) == "free"


def test_a_dark_pupa_is_moved_soon_or_not_at_all(settings: Settings) -> None:
    assert verdict(settings, formed(200), entry(kinds.Seen, 1, stage="darkening")) == "soon"


def test_a_clear_pupa_is_left_alone(settings: Settings) -> None:
    assert verdict(settings, formed(200), entry(kinds.Seen, 1, stage="clear")) == "leave"


def test_a_dark_pupa_whose_hang_time_is_not_certain_waits_and_says_why(settings: Settings) -> None:
    told = hang.judge(pupa(formed(3), entry(kinds.Seen, 1, stage="clear")), NOW, settings)
    assert told.kind == "wait"
    assert "bring a climb" in told.why


@pytest.mark.parametrize("hours", [1, 30, 100])
def test_a_fallen_pupa_is_rescued_at_any_hang_time(settings: Settings, hours: float) -> None:
    assert verdict(settings, formed(hours), entry(kinds.Fell, 0.5, reason="fallen")) == "rescue"


def test_a_rescue_ends_with_the_move(settings: Settings) -> None:
    rescued = entry(kinds.Moved, 0.2, to="Jar", emergency="fallen")
    assert verdict(settings, formed(100), entry(kinds.Fell, 0.5, reason="fallen"), rescued) == "free"


@pytest.mark.parametrize(
    "end",
    [
        entry(kinds.Seen, 1, stage="empty"),
        entry(kinds.Emerged, 1),
        entry(kinds.Lost, 1, cause="unknown"),
    ],
    ids=["empty", "emerged", "lost"],
)
def test_where_nothing_hangs_there_is_nothing_to_move(settings: Settings, end: Entry) -> None:
    assert verdict(settings, formed(200), entry(kinds.Fell, 3, reason="fallen"), end) == "none"


def test_a_pupa_kept_cold_waits_longer(settings: Settings) -> None:
    assert verdict(settings, formed(30)) == "care"
    assert verdict(settings, formed(30, place="Porch")) == "wait"
    assert verdict(settings, formed(60, place="Porch")) == "care"
    assert verdict(settings, formed(72, place="Porch")) == "free"


def test_cold_stays_with_a_pupa_that_was_moved_to_the_warm(settings: Settings) -> None:
    moved = entry(kinds.Moved, 1, to="Roof", emergency="wet")
    assert verdict(settings, formed(30, place="Porch"), moved) == "wait"


def travelling(hours_ago: float, usual_c: float | None, place: str = "Attic", kind: type[Entry] = kinds.Found) -> Entry:
    return entry(kind, hours_ago, label="M1", species="monarch", place=place, usual_c=usual_c)


def test_a_place_the_settings_do_not_know_is_as_cold_as_the_entry_says(settings: Settings) -> None:
    assert verdict(settings, travelling(30, None)) == "care"
    assert verdict(settings, travelling(30, 21)) == "care"
    assert verdict(settings, travelling(30, 12)) == "wait"
    told = hang.judge(pupa(travelling(30, 12)), NOW, settings)
    assert told.movable_from == NOW + timedelta(hours=18)


def test_of_what_the_entry_and_the_settings_say_the_colder_counts(settings: Settings) -> None:
    assert verdict(settings, travelling(30, 12, "Roof")) == "wait"
    assert verdict(settings, travelling(30, 21, "Porch")) == "wait"
    assert verdict(settings, travelling(30, None, "Porch")) == "wait"


def test_the_cold_of_every_place_it_hung_in_counts_also_of_one_it_was_moved_to(settings: Settings) -> None:
    rescued = entry(kinds.Moved, 28, to="Attic", emergency="wet", usual_c=12)
    back = entry(kinds.Moved, 27, to="Roof", emergency="wet", usual_c=21)
    assert verdict(settings, formed(30), rescued, back) == "wait"
    assert verdict(settings, formed(60), rescued, back) == "care"


def test_where_one_place_is_told_of_twice_the_colder_counts(settings: Settings) -> None:
    hung_again = entry(kinds.Moved, 20, to="Attic", emergency="fallen", usual_c=21)
    assert verdict(settings, travelling(30, 12), hung_again) == "wait"
    assert pupa(travelling(30, 12), hung_again).travelled["Attic"].usual_c == 12


def test_the_cold_that_a_caterpillar_left_before_it_pupated_does_not_count(settings: Settings) -> None:
    hanging = travelling(50, 12, kind=kinds.Hanging)
    assert verdict(settings, hanging, formed(30)) == "care"
    assert verdict(settings, hanging, travelling(30, None)) == "wait"  # it pupated where it hung


def test_the_stage_turns_set_by_certain_time_alone(settings: Settings) -> None:
    assert hang.stage(pupa(formed(23, since=60)), NOW, settings) == "soft"
    assert hang.stage(pupa(formed(24)), NOW, settings) == "set"
    assert hang.stage(pupa(formed(100), entry(kinds.Seen, 90, stage="soft")), NOW, settings) == "set"


def test_an_emerged_pupa_keeps_the_hang_time_it_had(settings: Settings) -> None:
    told = hang.hang_time(pupa(formed(200, since=212), entry(kinds.Emerged, 5, since_hours_ago=17)), NOW)
    assert told == hang.HangTime(200 - 17, 212 - 5)


def test_a_move_is_early_where_the_set_time_was_not_certain(settings: Settings) -> None:
    early = pupa(formed(100), entry(kinds.Moved, 80, to="Jar"))
    late = pupa(formed(100), entry(kinds.Moved, 76, to="Jar"))
    emergency = pupa(formed(100), entry(kinds.Moved, 99, to="Jar", emergency="fallen"))
    assert [hang.early_moves(p, settings) for p in (early, late, emergency)] == [1, 0, 0]


def test_dark_for_longer_than_usual_is_remarked_on(settings: Settings) -> None:
    profile = settings.profile("monarch")
    assert hang.overdue_dark(pupa(formed(300), entry(kinds.Seen, 73, stage="darkening")), NOW, profile)
    assert not hang.overdue_dark(pupa(formed(300), entry(kinds.Seen, 71, stage="darkening")), NOW, profile)


# -- a clock that was wrong


def recorded(kind: type[Entry], written: float, shows: float, **fields: object) -> Entry:
    """An entry about what happened as the clock says: both in hours ago, by the id and by the clock of its writing."""
    stamp = entry_id(NOW - timedelta(hours=written), bytes(8))
    at = NOW - timedelta(hours=shows)
    return kind(id=stamp, act=stamp, happened=at, recorded=at, zone="UTC", pupa="p", **fields)


BEHIND = recorded(kinds.Found, 30, 72, label="M1", species="monarch", place="Roof")
"""Found when the clock showed 42 hours less than at an entry before it."""


def test_a_pupa_found_by_a_clock_that_was_behind_waits_with_an_unknown_hang_time(settings: Settings) -> None:
    told = hang.judge(pupa(BEHIND), NOW, settings)
    assert (told.kind, told.movable_from) == ("wait", None)
    assert "the clock was slow when it was found" in told.why
    assert hang.hang_time(pupa(BEHIND), NOW) == (0.0, None)


def test_its_hang_time_counts_from_the_next_entry_that_a_right_clock_dates(settings: Settings) -> None:
    also_behind = recorded(kinds.Seen, 29.9, 60, stage="soft")
    seen = recorded(kinds.Seen, 10, 10, stage="set")
    told = pupa(BEHIND, also_behind, seen)
    assert hang.hang_time(told, NOW).at_least == 10
    assert hang.judge(told, NOW, settings).movable_from == NOW + timedelta(hours=14)
    assert hang.judge(told, NOW + timedelta(hours=14), settings).kind == "care"


def test_what_happened_before_says_nothing_of_when_it_was_found(settings: Settings) -> None:
    backdated = msgspec.structs.replace(recorded(kinds.Note, 10, 10, text="big"), happened=NOW - timedelta(hours=60))
    assert hang.hang_time(pupa(BEHIND, backdated), NOW).at_least == 10


def test_a_move_that_is_dated_back_is_judged_by_what_the_clock_shows_now(settings: Settings) -> None:
    before = NOW - timedelta(hours=40)
    assert hang.judge(pupa(BEHIND), before, settings, clock=NOW).kind == "wait"


def test_a_clock_that_is_still_behind_measures_elapsed_time(settings: Settings) -> None:
    while_behind = NOW - timedelta(hours=40)  # the clock has not come again to the hour that the id names
    assert hang.hang_time(pupa(BEHIND), while_behind).at_least == 32
    assert not hang.found_by_wrong_clock(pupa(BEHIND), while_behind)


def test_an_id_of_a_clock_that_was_ahead_makes_no_doubt_of_a_pupa_found_since(settings: Settings) -> None:
    after = recorded(kinds.Found, -24 * 365, 80, label="M1", species="monarch", place="Roof")
    assert hang.judge(pupa(after), NOW, settings).kind == "free"


def test_a_few_minutes_between_two_computers_are_no_doubt(settings: Settings) -> None:
    found = recorded(kinds.Found, 79.95, 80, label="M1", species="monarch", place="Roof")
    assert hang.judge(pupa(found), NOW, settings).kind == "free"


def test_what_a_notebook_tells_names_its_own_times(settings: Settings) -> None:
    brought = msgspec.structs.replace(BEHIND, history=True)
    assert hang.judge(pupa(brought), NOW, settings).kind == "free"


def test_a_move_before_the_doubt_was_settled_is_early(settings: Settings) -> None:
    moved = recorded(kinds.Moved, 5, 5, to="Jar")
    assert hang.early_moves(pupa(BEHIND, moved), settings) == 1
