"""Situations a keeper types in, and what is advised then: a dark case of unknown age, a prepupa, and what threatens.

What a keeper would want is common practice, no source, unless a source is named beside it.
"""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from pupawatch.settings import load

Run = Callable[..., Any]


@pytest.fixture
def today(run: Run) -> Callable[[str], dict[str, Any]]:
    """What `today --json` says of one pupa."""
    import json

    def one(label: str) -> dict[str, Any]:
        (told,) = [told for told in json.loads(run("today", "--json").out)["pupae"] if told["label"] == label]
        return dict(told)

    return one


def hang(run: Run, clock: Any, label: str, place: str, hours: float, *more: str) -> None:
    """A pupa that pupated so many hours ago, within three hours."""
    by = clock.now - timedelta(hours=hours)
    since = by - timedelta(hours=3)
    assert run("found", label, "--place", place, "--between", since.isoformat(), by.isoformat(), *more).code == 0


# -- a dark or clear case of which nobody knows the age


def test_a_dark_case_of_unknown_age_is_days_old_once_it_is_confirmed(run: Run, clock: Any, today: Any) -> None:
    run("found", "M1", "--place", "Jar")  # the jar was never looked over
    assert today("M1")["hang_hours"]["at_most"] is None
    run("saw", "M1", "darkening")
    once = today("M1")
    assert (once["verdict"], once["hang_hours"]["at_least"]) == ("wait", 0)
    assert "at least 3 days old" in once["why"]
    assert "darkening once more" in once["why"]
    assert run("move", "M1", "Roof").code == 1  # a single key may be a slip
    run("saw", "M1", "darkening")
    twice = today("M1")
    assert (twice["verdict"], twice["hang_hours"]["at_least"]) == ("soon", 72)
    assert run("move", "M1", "Roof").code == 0
    assert "moved-early" not in today("M1")["flags"]


def test_undoing_the_confirmation_takes_the_age_back(run: Run, today: Any) -> None:
    run("found", "M1", "--place", "Jar")
    run("saw", "M1", "clear")
    run("saw", "M1", "clear")
    assert today("M1")["verdict"] == "leave"
    assert run("undo").code == 0
    assert today("M1")["verdict"] == "wait"


def test_a_paler_sighting_afterwards_takes_it_back(run: Run, today: Any) -> None:
    run("found", "M1", "--place", "Jar")
    run("saw", "M1", "darkening")
    run("saw", "M1", "darkening")
    run("saw", "M1", "soft")
    assert today("M1")["verdict"] == "wait"


def test_a_recorded_interval_always_wins_and_the_contradiction_is_flagged(run: Run, clock: Any, today: Any) -> None:
    hang(run, clock, "M1", "Roof", 10)
    for _ in range(2):
        assert run("saw", "M1", "darkening").code == 0
    told = today("M1")
    assert told["verdict"] == "wait"
    assert "dark-too-early" in told["flags"]
    assert run("move", "M1", "Jar").code == 1
    assert "check for disease" in run("today").out


def test_a_dark_case_within_a_wide_interval_contradicts_nothing(run: Run, clock: Any, today: Any) -> None:
    hang(run, clock, "M1", "Roof", 240)
    run("saw", "M1", "darkening")
    assert "dark-too-early" not in today("M1")["flags"]


def test_one_slip_on_a_soft_one_frees_nothing(run: Run, clock: Any, today: Any) -> None:
    hang(run, clock, "M1", "Jar", 5)
    run("saw", "M1", "darkening")
    assert run("move", "M1", "Roof").code == 1


# -- belts


def test_a_belted_one_is_moved_head_up_and_never_hung_by_its_tail(run: Run, clock: Any) -> None:
    """Belted species hang head up (The Book of Caterpillars, p. 281; F25 of the handbook values)."""
    hang(run, clock, "S1", "Jar", 80, "--species", "black-swallowtail")
    out = run("plan").out
    assert "(in a sling)" in out
    run("fell", "S1")
    out = run("plan").out
    assert "head up" in out
    assert "never hung by its tail" in out


@pytest.mark.parametrize(("method", "warned"), [("silk", True), ("tie", True), ("sling", False), ("whole", False)])
def test_a_method_that_hangs_it_by_its_tail_is_warned_of(run: Run, clock: Any, method: str, warned: bool) -> None:
    hang(run, clock, "S1", "Jar", 80, "--species", "black-swallowtail")
    told = run("move", "S1", "Roof", "--method", method)
    assert told.code == 0
    assert ("never hung by its tail" in told.err) == warned


@pytest.mark.parametrize("species", ["black-swallowtail", "spicebush-swallowtail", "large-white"])
def test_every_belted_species_has_its_own_steps(loaded: Any, species: str) -> None:
    assert loaded.profile(species).hangs == "belt"
    assert "head up" in loaded.care.methods[loaded.care.belt_method].words


# -- a prepupa


def test_a_prepupa_is_told_when_it_is_expected_and_flagged_when_overdue(run: Run, clock: Any, today: Any) -> None:
    """Asked about after 36 h in a warm room: twice the expected time; reasoned from keepers' weblogs of 10 to 16 h."""
    run("found", "J1", "--place", "Jar", "--prepupa")
    assert "likely to pupate by" in run("today").out
    clock.on(hours=35)
    assert "prepupa-overdue" not in today("J1")["flags"]
    clock.on(hours=1)
    assert "prepupa-overdue" in today("J1")["flags"]
    out = run("today").out
    for sign in ("white thread", "half-way", "dark", "feelers"):
        assert sign in out


def test_in_the_cold_it_has_twice_as_long(run: Run, clock: Any, today: Any) -> None:
    run("place", "Porch", "--surface", "wood", "--temperature-c", "15")
    run("found", "J1", "--place", "Porch", "--prepupa")
    clock.on(hours=71)
    assert "prepupa-overdue" not in today("J1")["flags"]
    clock.on(hours=1)
    assert "prepupa-overdue" in today("J1")["flags"]


def test_one_that_hangs_badly_is_told_from_when_it_may_be_moved(run: Run) -> None:
    run("found", "J1", "--place", "Jar", "--prepupa")
    out = run("plan").out
    assert "likely to pupate by" in out
    assert "it may be moved 24 h after" in out


def test_a_fallen_prepupa_has_its_own_steps(run: Run) -> None:
    run("found", "J1", "--place", "Jar", "--prepupa")
    run("fell", "J1")
    assert "fallen before it pupated" in run("plan").out.lower()


# -- what threatens it where it hangs


@pytest.mark.parametrize(
    ("place", "hours", "stage", "step"),
    [
        (("--disturbed", "ants"), 5, "", "ants: stand the feet of the cage"),
        (("--disturbed", "the door"), 5, "", "leave the lid or door as it is now"),
        (("--drip", "yes"), 300, "clear", "put a roof of card or foil above it, with room for the wings"),
        (("--drip", "yes"), 5, "", "do not touch it. stop the drip"),
        (("--sun", "yes"), 5, "", "shade it with cloth"),
    ],
)
def test_it_is_protected_in_place_and_moved_only_where_that_fails(
    run: Run, clock: Any, place: tuple[str, ...], hours: float, stage: str, step: str
) -> None:
    run("place", "Roof", *place)
    hang(run, clock, "M1", "Roof", hours)
    if stage:
        run("saw", "M1", stage)
    day, plan = run("today").out, run("plan").out
    assert "protect it where it hangs" in day
    assert step in plan.lower()
    assert "If that fails" in plan


def test_a_soft_one_with_ants_recorded_as_its_danger_is_protected_first(run: Run, clock: Any) -> None:
    hang(run, clock, "M1", "Roof", 5)
    run("fell", "M1", "--danger", "predator")
    out = run("plan").out
    assert "it is still soft" in out
    assert "Do not wipe the pupa" in out


def test_a_second_fall_is_seen(run: Run, clock: Any) -> None:
    hang(run, clock, "M1", "Jar", 80)
    run("fell", "M1")
    assert "fell again" not in run("plan").out.lower()
    clock.on(hours=1)
    run("move", "M1", "Roof")
    for _ in range(2):  # told twice of one fall
        clock.on(hours=1)
        run("fell", "M1")
    out = run("plan").out
    assert "fell again" in out.lower()
    assert "lay it in a pouch or on paper in" in out
    assert "(laid by mesh)" in out
    assert "hang it up again" not in out


def test_a_fall_told_by_what_did_not_hold_counts_once(run: Run, clock: Any) -> None:
    hang(run, clock, "M1", "Jar", 80)
    for command in (("move", "M1", "Roof"), ("held", "M1", "no"), ("fell", "M1")):
        clock.on(hours=1)
        run(*command)
    assert "fell again" not in run("plan").out.lower()


def test_a_leak_has_its_own_steps(run: Run, clock: Any) -> None:
    """Drops often dry to scabs and the butterfly is normal; a lasting leak is a bad sign: a breeder's page and a
    reader's letter."""
    hang(run, clock, "M1", "Jar", 80)
    run("finding", "M1", "fluid")
    assert "scabs" in run("today").out
    run("fell", "M1")
    out = run("plan").out
    assert "it leaks" in out.lower()
    assert "bad sign" in out


@pytest.mark.parametrize("stage", ["", "darkening", "clear"])
@pytest.mark.parametrize("hours", [5, 80])
@pytest.mark.parametrize("species", ["monarch", "large-white"])
@pytest.mark.parametrize("danger", ["fallen", "support-failing", "predator", "wet", "crushing", "heat"])
def test_every_danger_has_steps_and_cautions(
    run: Run, clock: Any, danger: str, species: str, hours: float, stage: str
) -> None:
    hang(run, clock, "M1", "Jar", hours, "--species", species)
    if stage:
        run("saw", "M1", stage)
    run("fell", "M1", "--danger", danger)
    out = run("plan").out
    assert "  ! " in out
    assert out.count("     ") >= 3
    if species == "large-white" and danger == "fallen" and hours == 80 and not stage:
        assert "by its silk" not in out


def test_a_case_that_is_misspelt_is_refused(tmp_path: Any) -> None:
    from pupawatch.errors import PupawatchError

    (tmp_path / "care.toml").write_text(
        '[rescue.wet-claer]\nwords = "x"\nsteps = ["y"]\ncautions = []\n', encoding="utf-8"
    )
    with pytest.raises(PupawatchError, match="wet-claer"):
        load(tmp_path)


# -- warmth


def adult(run: Run, clock: Any, label: str = "M1") -> None:
    """A butterfly of two days with sound wings, at 11:00."""
    hang(run, clock, label, "Roof", 300)
    clock.on(hours=4)
    since = (clock.now - timedelta(hours=49)).isoformat()
    assert run("emerged", label, "--at", since).code == 0
    assert run("wings", label, "sound", "--at", since).code == 0


def test_the_newest_temperature_speaks_against_a_release(run: Run, clock: Any) -> None:
    """Least air warmth for letting go: 13 to 16 °C by breeders' and hobby pages; Masters et al. 1988 for the thorax."""
    adult(run, clock)
    assert "Fine to release now" in run("adults").out
    run("measured", "Jar", "9C", "12C")
    out = run("adults").out
    assert "Not now: 12 °C in Jar" in out
    assert "Fine to release now" in run("adults", "--temperature-c", "20").out
    assert "Against the advice" in run("release", "M1").err + run("release", "M1").out


def test_a_warm_room_says_nothing_of_the_weather(run: Run, clock: Any) -> None:
    adult(run, clock)
    run("measured", "Jar", "20C", "23C")
    out = run("adults").out
    assert "Fine to release now" in out
    assert "it flies from 13 °C in sun" in out


def test_pupae_that_rest_in_the_cold_say_nothing_of_the_weather(run: Run, clock: Any) -> None:
    adult(run, clock)
    run("place", "Refrigerator", "--surface", "wood", "--temperature-c", "4")
    run("measured", "Refrigerator", "3C", "5C")
    assert "Fine to release now" in run("adults").out


def test_frost_is_told_on_the_round(run: Run, clock: Any) -> None:
    hang(run, clock, "M1", "Roof", 80)
    run("measured", "Roof", "0C", "8C")
    out = run("today").out
    assert "1 temperature warning" in out
    assert "bring the whole cage in" in out


# -- dead or alive


def chance_alive(today: Any, label: str) -> float:
    return float(today(label)["forecast"]["alive"])


def test_dark_for_84_hours_it_is_more_likely_dead_each_day(run: Run, clock: Any, today: Any) -> None:
    """Dark for one to three days (The Book of Caterpillars, p. 23); the reckoning is Bayes' rule."""
    hang(run, clock, "M1", "Roof", 9 * 24)
    chances = []
    for _ in range(7):
        run("saw", "M1", "darkening")
        chances.append(chance_alive(today, "M1"))
        clock.on(hours=12)
    assert chances[0] > 0.8
    assert chances == sorted(chances, reverse=True)
    run("saw", "M1", "darkening")
    assert chance_alive(today, "M1") < 0.5
    out = run("today").out
    assert "may be dead" in out
    assert "foul-smelling" in out
    assert "due tomorrow" not in out


def test_half_of_the_last_twenty_lost_is_seen_in_what_the_days_may_bring(run: Run, clock: Any, today: Any) -> None:
    import json

    for number in range(20):
        label, age = f"X{number}", 30 * 24 - number
        hang(run, clock, label, "Jar", age)
        at = (clock.now - timedelta(hours=age - 200)).isoformat()
        end = ("emerged", label) if number % 2 else ("lost", label, "disease")
        assert run(*end, "--at", at).code == 0
    for number in range(10):
        hang(run, clock, f"M{number}", "Roof", 48 + number)
    told = json.loads(run("forecast", "--json").out)
    pupae = [one["forecast"] for one in told["pupae"]]
    assert [one["alive"] for one in pupae] == [pytest.approx((0.94 * 10 + 10) / 30, abs=0.01)] * 10
    fortnight = {day["date"] for day in told["by_day"]}
    within = sum(day["p"] for one in pupae for day in one["by_day"] if day["date"] in fortnight)  # if all live
    assert sum(day["mean"] for day in told["by_day"]) == pytest.approx(within * (0.94 * 10 + 10) / 30, rel=0.02)
    assert within > 8.5


def test_a_late_one_of_a_species_that_overwinters_may_be_resting(run: Run, clock: Any, today: Any) -> None:
    """Tiger swallowtails come out in several waves: one late pupa of a batch is not dead (Ecol. Entomol., abstract)."""
    hang(run, clock, "S1", "Roof", 40 * 24, "--species", "black-swallowtail")
    assert chance_alive(today, "S1") > 0.9
    assert "may be dead" not in run("today").out


def test_the_watch_says_of_each_that_cannot_climb_what_is_right_for_its_stage(run: Run) -> None:
    """Common practice, no source: a darkening one may still be moved, a clear one is only helped where it hangs."""
    run("found", "D1", "C1", "--place", "Jar", "--at", "2026-08-28T06:40")
    run("saw", "D1", "darkening")
    run("saw", "C1", "clear")
    told = {line.split()[1]: line for line in run("watch").out.splitlines()}
    assert told["D1"].endswith("the butterfly cannot climb there: move it today")
    assert told["C1"].endswith("the butterfly cannot climb there: bring a climbing aid")


def test_the_hours_that_are_certain_are_never_rounded_up_to_the_hour_of_the_rule(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(hours=23, minutes=36)
    run("saw", "A1", "soft")
    run("found", "A2", "--place", "Roof", "--between", "2026-09-08T06:40", "2026-09-08T06:40")
    refused = run("move", "A2", "Jar")
    assert "has hung at least 23 h, soft until 24 h" in refused.err
    assert "23" in next(line for line in run("pupae").out.splitlines() if " A2 " in line)
