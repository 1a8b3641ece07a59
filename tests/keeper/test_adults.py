"""What a keeper does after the case has split: what is refused, what is warned of, and what lasts.

The hours are those of the shipped monarch profile (6 h until marking: a breeder's instructions, see
tests/outside/test_adults.py); that too early, twice used and unable to fly are refused is this program's own promise.
"""

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.care import adults
from pupawatch.care.adults import Weather
from pupawatch.errors import NotUnderstood, PupawatchError, Refused, Unusable
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Kept, Marked, Sexed, kind_of
from pupawatch.model.times import Span

Run = Callable[..., Any]
MARK_HOURS = 6


def out(keeper: Keeper, *labels: str, hours_ago: float = 0) -> None:
    """These emerged so long ago, seen at that instant."""
    now = keeper.clock()
    at = now - timedelta(hours=hours_ago)
    for label in labels:
        keeper.pupae.found(label, "Roof", when=Span(now - timedelta(days=12), now - timedelta(days=11)))
        keeper.pupae.emerged(label, when=Span(at, at))


def last(keeper: Keeper) -> int:
    return keeper.journal.last()


# -- refused, and nothing written


def test_marking_before_the_set_hours_is_refused_and_says_from_when(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", hours_ago=MARK_HOURS - 0.1)
    before = last(keeper)
    with pytest.raises(
        Refused, match=r"its wings are still hardening \(out for at least 5\.9 h\)\. It may be marked from 06:46"
    ) as no:
        keeper.adults.mark("A1", "X 1")
    assert no.value.movable_from == clock.now + timedelta(hours=0.1)
    assert last(keeper) == before
    clock.on(hours=0.1)
    assert keeper.adults.mark("A1", "X 1").words == "A1 is marked X 1."


def test_an_emergence_of_the_night_counts_from_its_latest_instant(keeper: Keeper, clock: Any) -> None:
    now = clock.now
    keeper.pupae.found("A1", "Roof", when=Span(now - timedelta(days=12), now - timedelta(days=11)))
    keeper.pupae.emerged("A1", when=Span(now - timedelta(hours=12), now))
    with pytest.raises(Refused):
        keeper.adults.mark("A1", "X 1")


def test_a_backdated_mark_is_judged_at_its_own_time(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", hours_ago=10)
    early = clock.now - timedelta(hours=9)
    with pytest.raises(Refused):
        keeper.adults.mark("A1", "X 1", when=Span(early, early))


def test_a_mark_is_used_once_a_season_whatever_its_case_and_blanks(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", "A2", hours_ago=30)
    keeper.adults.mark("A1", "blue 7")
    before = last(keeper)
    for code in ("blue 7", "BLUE7"):
        with pytest.raises(Refused, match="was used this season by A1"):
            keeper.adults.mark("A2", code)
    assert last(keeper) == before


def test_a_mark_of_a_butterfly_long_gone_is_still_used(keeper: Keeper, clock: Any) -> None:
    """Finished pupae leave the keeper's state after thirty days; their marks do not."""
    out(keeper, "A1", hours_ago=30)
    keeper.adults.mark("A1", "X 1")
    keeper.adults.release("A1", "garden")
    clock.on(days=40)
    keeper.refresh()
    out(keeper, "A2", hours_ago=30)
    fresh = Keeper(Journal(keeper.journal.path), keeper.settings, clock, keeper.folder)
    with pytest.raises(Refused, match="was used this season"):
        fresh.adults.mark("A2", "X 1")
    fresh.journal.close()


def test_a_new_season_and_an_undone_mark_free_the_code(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", "A2", hours_ago=30)
    keeper.adults.mark("A1", "X 1")
    keeper.undo()
    keeper.adults.mark("A2", "X 1")
    clock.on(days=200)
    out(keeper, "A3", hours_ago=30)
    assert keeper.adults.mark("A3", "X 1").words == "A3 is marked X 1."


def test_an_adult_that_cannot_fly_is_not_let_fly_without_saying_where_it_is_kept(keeper: Keeper) -> None:
    out(keeper, "A1", hours_ago=30)
    keeper.pupae.wings("A1", "crumpled")
    before = last(keeper)
    with pytest.raises(Refused, match=r"judged crumpled, it cannot fly\. Record where it is kept"):
        keeper.adults.release("A1", "garden", weather=Weather(25, "sun"))
    assert last(keeper) == before
    done = keeper.adults.release("A1", kept="Flight cage")
    assert [type(entry) for entry in done.entries] == [Kept]
    assert keeper.pupa("A1").is_adult
    assert adults.living(keeper.state, keeper.clock(), keeper.settings)[0].phase == "kept"


def test_one_that_is_kept_stays_among_the_living_until_it_died(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", "A2", hours_ago=30)
    keeper.pupae.wings("A1", "crumpled")
    keeper.adults.release("A1", kept="Flight cage")
    clock.on(days=60)
    later = Keeper(Journal(keeper.journal.path), keeper.settings, clock, keeper.folder)
    living = [b.pupa.label for b in adults.living(later.state, clock.now, later.settings)]
    assert living == ["A1"]  # A2 was forgotten: nobody wrote down what became of it
    later.adults.seen("A1", "died")
    assert adults.living(later.state, clock.now, later.settings) == []
    later.journal.close()


def test_one_that_fell_and_came_up_with_sound_wings_has_recovered(keeper: Keeper) -> None:
    out(keeper, "A1", hours_ago=5)
    keeper.adults.seen("A1", "fell")
    keeper.pupae.wings("A1", "sound")
    assert not adults.recovered(keeper.pupa("A1"), keeper.settings)
    keeper.adults.seen("A1", "climbed")
    assert adults.recovered(keeper.pupa("A1"), keeper.settings)
    keeper.pupae.wings("A1", "crumpled")
    assert not adults.recovered(keeper.pupa("A1"), keeper.settings)


def test_wings_judged_anew_may_fly_after_all(keeper: Keeper) -> None:
    out(keeper, "A1", hours_ago=30)
    keeper.pupae.wings("A1", "crumpled")
    keeper.pupae.wings("A1", "creased")
    assert keeper.adults.release("A1", "garden").entries


# -- warned, and written


def test_bad_weather_is_a_warning_and_the_keeper_decides(keeper: Keeper, clock: Any) -> None:
    clock.on(hours=5)  # 11:40
    out(keeper, "A1", hours_ago=30)
    keeper.pupae.wings("A1", "sound")
    done = keeper.adults.release("A1", "garden", weather=Weather(12, "rain"))
    (warning,) = done.warnings
    assert "rain: wait until it is dry" in warning
    assert "flies from 16 °C" in warning
    released = keeper.pupa("A1").released
    assert released is not None
    assert (released.temperature_c, released.sky, released.place) == (12, "rain", "garden")


def test_a_short_cleaning_is_written_with_a_warning(keeper: Keeper) -> None:
    assert keeper.places.cleaned("roof", "gear").warnings == []
    assert "too short to work" in keeper.places.cleaned("Jar", "gear", 60).warnings[0]
    assert [(entry.place, entry.minutes) for entry in keeper.places.cleanings()] == [("Jar", 60), ("Roof", 240)]
    keeper.undo()
    assert [entry.place for entry in keeper.places.cleanings()] == ["Roof"]


# -- not understood


def test_what_makes_no_sense_is_not_understood(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("P1", "Roof")
    out(keeper, "A1", hours_ago=30)
    for act in (
        lambda: keeper.adults.seen("P1", "fell"),
        lambda: keeper.adults.seen("A1", "sang"),
        lambda: keeper.adults.seen("A1", "climbed"),
        lambda: keeper.adults.sexed("A1", "queen"),
        lambda: keeper.adults.came_from("A1", "shop"),
        lambda: keeper.adults.mark("P1", "X 1"),
        lambda: keeper.adults.mark("A1"),
        lambda: keeper.adults.mark("A1", "X\x1b[31m"),
        lambda: keeper.adults.mark("A1", "X" * 25),
        lambda: keeper.adults.release("P1"),
        lambda: keeper.adults.release("A1", weather=Weather(None, "fog")),
        lambda: keeper.adults.release("A1", weather=Weather(float("nan"))),
        lambda: keeper.places.cleaned("Roof", "soap"),
        lambda: keeper.places.cleaned("Roof", "gear", float("nan")),
        lambda: keeper.adults.check_health("A1", ["spores"], load=6),
        lambda: keeper.adults.seen("A1", "full", Span(clock.now - timedelta(days=3), clock.now - timedelta(days=3))),
    ):
        before = last(keeper)
        with pytest.raises(NotUnderstood):
            act()
        assert last(keeper) == before


def test_one_that_died_is_gone_and_its_label_is_free(keeper: Keeper) -> None:
    out(keeper, "A1", hours_ago=30)
    keeper.adults.seen("A1", "died")
    with pytest.raises(NotUnderstood, match="no longer in your care"):
        keeper.adults.release("A1", "garden")
    assert keeper.pupae.found("A1", "Roof").entries


def test_a_code_fits_the_keepers_pattern(keeper: Keeper, config: Path) -> None:
    (config / "keeper.toml").write_text(
        'zone = "America/Chicago"\n[marks]\npattern = "[A-Z]{2}[0-9]{2}"\n', encoding="utf-8"
    )
    keeper.settings = files.load(config)
    out(keeper, "A1", "A2", hours_ago=30)
    with pytest.raises(NotUnderstood, match="does not fit your pattern"):
        keeper.adults.mark("A1", "AB123")
    keeper.adults.mark("A1", "AB12")
    assert keeper.adults.proposed_mark() == "AB13"
    assert keeper.adults.mark("A2").words == "A2 is marked AB13."


def test_a_pattern_that_is_none_and_a_column_there_is_none_of_are_named_with_their_line(tmp_path: Path) -> None:
    (tmp_path / "keeper.toml").write_text(
        '[marks]\npattern = "[A-"\n[sheet]\ncolumns = ["mark", "programme"]\n', encoding="utf-8"
    )
    with pytest.raises(Unusable) as raised:
        files.load(tmp_path)
    told = str(raised.value)
    assert "keeper.toml:1: marks: pattern is not a regular expression" in told
    assert "keeper.toml:4: sheet.columns: invalid enum value 'programme'" in told


# -- one act, several entries; clocks that last


def test_a_mark_with_sex_and_origin_is_one_act_and_one_undo(keeper: Keeper) -> None:
    out(keeper, "A1", hours_ago=30)
    done = keeper.adults.mark("A1", "X 1", "male", "wild-egg")
    assert [kind_of(entry) for entry in done.entries] == ["marked", "sexed", "origin"]
    assert {type(entry) for entry in done.entries} >= {Marked, Sexed}
    keeper.undo()
    pupa = keeper.pupa("A1")
    assert (pupa.marked, pupa.sex, pupa.origin) == (None, "", "")


def test_a_check_that_shows_nothing_is_a_finding_too(keeper: Keeper) -> None:
    keeper.pupae.found("P1", "Roof")
    assert keeper.adults.check_health("P1", []).words == "P1: nothing unusual."
    told = keeper.adults.check_health("P1", ["patches"], "left wing").words
    assert told == f"P1: patches. Keep it away from the others. {keeper.settings.health.signs['patches'].do}"
    assert [(f.sign, f.text) for f in keeper.pupa("P1").findings] == [("nothing-unusual", ""), ("patches", "left wing")]


def test_the_clocks_are_the_same_after_a_restart_and_on_a_second_device(keeper: Keeper, clock: Any) -> None:
    out(keeper, "A1", "A2")
    clock.on(hours=0.1)
    keeper.adults.seen("A1", "fell")
    keeper.adults.seen("A2", "full")
    clock.on(hours=0.2)
    here = adults.watch(keeper.state, clock.now, keeper.settings)
    other = Keeper(Journal(keeper.journal.path), keeper.settings, clock, keeper.folder)
    assert adults.watch(other.state, clock.now, other.settings) == here
    other.adults.seen("A1", "helped")  # on the second device
    assert here.alarms
    assert keeper.refresh()
    now = adults.watch(keeper.state, clock.now, keeper.settings)
    assert now.alarms == []
    assert [b.clocks for b in sorted(now.fresh, key=lambda b: b.pupa.id)] == [
        b.clocks for b in sorted(here.fresh, key=lambda b: b.pupa.id)
    ]
    other.journal.close()


# -- the commands


def test_a_morning_at_the_command_line(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "06:30")
    assert run("adult", "A1", "fell").out.startswith("A1: the butterfly fell. Now: hold")
    told = run("watch")
    assert "FLOOR" in told.out
    assert "never lift it by the wings" in told.out
    assert run("adult", "A1", "helped").code == 0
    assert run("adult", "A1", "full").code == 0
    refused = run("mark", "A1", "X 1")
    assert (refused.code, refused.out) == (1, "")
    assert "It may be marked from 12:30" in refused.err
    clock.on(hours=6)
    assert run("wings", "A1", "sound").code == 0
    assert run("sex", "A1", "female").code == 0
    assert run("origin", "A1", "wild-larva").code == 0
    assert run("mark", "A1", "X 1").out == "A1 is marked X 1.\n"
    record = json.loads(run("adults", "--json", "--temperature-c", "21", "--sky", "sun").out)
    (adult,) = record["adults"]
    assert (adult["label"], adult["phase"], adult["sex"], adult["mark"]) == ("A1", "mark", "female", "X 1")
    assert adult["release"]["when"] == "2026-09-09T14:00:00+00:00"  # 24 h are over at 06:30, the hours begin at 09:00
    assert record["next_mark"] == "X 2"
    assert "permit" in run("adults").out
    clock.on(hours=24)
    assert run("release", "A1", "--place", "meadow", "--temperature-c", "21", "--sky", "sun", "--quiet").err == ""
    assert json.loads(run("sheet", "--json").out)["rows"] == [
        {"label": "A1", "species": "Monarch", "date": "2026-09-09", "sex": "female", "mark": "X 1",
         "origin": "wild larva", "wings": "sound", "release_place": "meadow"}
    ]  # fmt: skip
    assert json.loads(run("watch", "--json").out)["fresh"] == []


def test_one_that_cannot_fly_at_the_command_line(run: Run) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "yesterday 06:30")
    run("wings", "A1", "unexpanded")
    assert run("release", "A1", "--place", "meadow").code == 1
    assert run("release", "A1", "--kept", "Net").out == "A1 cannot fly and is kept in Net.\n"


def test_health_at_the_command_line(run: Run, config: Path) -> None:
    run("found", "A1", "--place", "Jar")
    assert "specks" in run("health", "A1").out
    assert run("finding", "A1", "soft-body").out.startswith(
        "A1: soft body. Keep it away from the others. Gloves on; take it out"
    )
    record = json.loads(run("health", "--json").out)
    assert record["proposals"] == [{"place": "Jar", "beside": [], "next_to": ["Roof"], "why": "A1: soft body"}]
    assert run("quarantine", "Jar").code == 0
    assert files.load(config).place("Jar").quarantined
    assert "still in quarantine" in run("cleaned", "Jar", "gear").err
    assert run("quarantine", "Jar", "--end").code == 0
    assert json.loads(run("health", "--json").out)["cleanings"][0]["long_enough"] is True
    assert "acid" in run("health").out
    assert run("quarantine", "Attic").code == 2


def test_a_spore_count_is_recorded_as_it_was_counted(run: Run) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "yesterday 06:30")
    assert run("finding", "A1", "--spores", "150", "--text", "tape").code == 0
    (found,) = json.loads(run("health", "A1", "--json").out)["findings"]
    assert (found["sign"], found["spores"], found["text"]) == ("spores", 150, "tape")
    assert found["load"] == 4  # the class that programs of older versions read
    assert "150 spores counted" in run("history", "A1").out
    assert run("finding", "A1", "--spores", "-1").code == 2
    assert run("finding", "A1", "--spores", "9999999999").code == 2
    assert run("finding", "A1", "--spores", "0").out == "A1: spores (no spores counted).\n"


def test_an_older_class_is_shown_as_the_counts_it_meant(run: Run) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "yesterday 06:30")
    for load, told in enumerate(
        ("no spores", "1 spore", "2–20 spores", "21–100 spores", "101–1000 spores", "more than 1000 spores")
    ):
        assert run("finding", "A1", "--load", str(load)).code == 0
        assert f"spores, {told} counted" in run("history", "A1").out
    assert run("finding", "A1", "--load", "6").code == 2
    found = json.loads(run("health", "A1", "--json").out)["findings"]
    assert [(one["spores"], one["load"]) for one in found] == [(None, load) for load in range(6)]


def test_a_keepers_own_classes_of_the_first_version_are_still_read(tmp_path: Path) -> None:
    (tmp_path / "health.toml").write_text(
        "heavy_load = 1\n[[loads]]\nspores_from = 0\nspores_to = 9\nwords = 'few'\n"
        "[[loads]]\nspores_from = 10\nwords = 'many'\n",
        encoding="utf-8",
    )
    assert [tuple(one) for one in files.load(tmp_path).health.older_classes] == [(0, 9), (10, None)]


def test_the_bands_begin_at_none_and_rise(tmp_path: Path) -> None:
    (tmp_path / "health.toml").write_text("[[bands]]\nspores_from = 5\nwords = 'five'\n", encoding="utf-8")
    with pytest.raises(PupawatchError, match="the first must begin at 0 spores"):
        files.load(tmp_path)


def test_from_so_many_spores_on_a_release_asks(run: Run) -> None:
    for label, spores, asks in (("A1", "99", False), ("A2", "100", True)):
        run("found", label, "--place", "Roof", "--at", "2026-08-28T06:00")
        run("emerged", label, "--at", "2026-09-05T06:30")
        run("finding", label, "--spores", spores)
        told = run("release", label)
        assert (told.code == 1) == asks
        assert ("100 spores were counted on it" in told.err) == asks


def test_a_sheet_is_written_to_a_file(run: Run, tmp_path: Path) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "yesterday 06:30")
    run("mark", "A1", "=1+1")
    path = tmp_path / "sheet.csv"
    assert run("sheet", path, "--from", "2026-09-01", "--columns", "mark,label").code == 0
    assert path.read_text(encoding="utf-8") == "\ufeffmark,label\r\n'=1+1,A1\r\n".replace("\r\n", "\n")
    assert run("sheet", "--from", "2026-09-02", "--to", "2026-09-01").code == 2
    assert run("sheet", "--columns", "programme").code == 2


def test_the_alarm_can_be_turned_off_and_the_definition_of_deformed_is_a_setting(config: Path) -> None:
    (config / "keeper.toml").write_text("[alarm]\nbell = false\nnotify = false\n", encoding="utf-8")
    (config / "care.toml").write_text("[review]\ndeformed = ['crumpled']\n", encoding="utf-8")
    mine = files.load(config)
    assert msgspec.to_builtins(mine.keeper.alarm) == {"bell": False, "notify": False}
    assert mine.care.review.deformed == ["crumpled"]


def test_the_reading_commands_look_back(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-28T06:00")
    run("emerged", "A1", "--at", "yesterday 06:30")
    run("finding", "A1", "weak")
    run("cleaned", "Roof", "gear")
    run("mark", "A1", "X 1")
    then = "yesterday 12:00"
    assert json.loads(run("health", "A1", "--json", "--as-of", then).out)["findings"] == []
    assert json.loads(run("health", "--json", "--as-of", then).out)["cleanings"] == []
    assert json.loads(run("sheet", "--json", "--as-of", then).out)["rows"] == []
    record = json.loads(run("adults", "--json", "--as-of", then).out)
    assert (record["adults"][0]["mark"], record["next_mark"]) == (None, None)
    assert json.loads(run("watch", "--json", "--as-of", "yesterday 06:40").out)["fresh"][0]["phase"] == "expanding"
