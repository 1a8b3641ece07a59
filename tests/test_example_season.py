"""The invented season that the demo opens: it is what its script makes, reads without a problem, and shows everything.

The move rule's hours (24 and 48, 48 and 72 kept cold) are common practice, no source; every expectation below is
counted by hand from the times written in examples/make_season.py.
"""

import csv
import runpy
from collections import Counter
from datetime import datetime

import pytest

from pupawatch import settings as files
from pupawatch.care.hang import early_moves
from pupawatch.care.proposals import decided
from pupawatch.care.round import Round, Standing, walk
from pupawatch.exchange.notebook import reading as notebook
from pupawatch.exchange.notebook.reading import Notebook
from pupawatch.model.codes import VERDICTS
from pupawatch.model.entries import Fell
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.state import State
from pupawatch.model.times import hours_between

EXAMPLES = files.shipped("examples")
NOW = datetime.fromisoformat("2026-09-08T06:40-05:00")


@pytest.fixture(scope="module")
def settings() -> Settings:
    return files.load(EXAMPLES)


@pytest.fixture(scope="module")
def season(settings: Settings) -> Notebook:
    return notebook.read(EXAMPLES / "season.csv", settings, NOW, known=lambda label: ())


@pytest.fixture(scope="module")
def state(season: Notebook) -> State:
    return State(season.entries)


@pytest.fixture(scope="module")
def morning(state: State, settings: Settings) -> Round:
    return decided(walk(state, NOW, settings))


@pytest.fixture(scope="module")
def standings(morning: Round) -> dict[str, Standing]:
    return {standing.pupa.label: standing for standing in morning.standings}


@pytest.fixture(scope="module")
def finished(state: State) -> list[Pupa]:
    """The pupae of the two summers that are over."""
    return [pupa for pupa in state.pupae.values() if pupa.label.startswith(("25-", "26-"))]


def test_the_stored_season_is_what_the_script_makes_byte_for_byte() -> None:
    make = runpy.run_path(str(EXAMPLES / "make_season.py"))["season_csv"]
    assert (EXAMPLES / "season.csv").read_bytes() == make().encode()
    assert make() == make()


def test_the_season_has_the_columns_of_a_notebook_and_reads_without_a_problem(season: Notebook) -> None:
    with (EXAMPLES / "season.csv").open(encoding="utf-8", newline="") as file:
        assert tuple(next(csv.reader(file))) == notebook.COLUMNS
    assert season.problems == []


def test_no_label_is_carried_by_two_pupae(state: State) -> None:
    counts = Counter(pupa.label for pupa in state.pupae.values())
    assert [label for label, count in counts.items() if count > 1] == []


def test_every_place_is_described_and_none_holds_more_than_it_has_room_for(
    state: State, morning: Round, settings: Settings
) -> None:
    named = {name for pupa in state.pupae.values() for name in (pupa.site, pupa.place)}
    assert {name for name in named if not settings.knows_place(name)} == set()
    assert [s.place.name for s in morning.stretches] == [p.name for p in settings.places if not p.retired]
    taken = state.living_by_place()
    assert [p.name for p in settings.places if p.capacity is not None and taken[p.name] > p.capacity] == []


def test_the_morning_shows_every_verdict_and_forty_odd_living_pupae(morning: Round) -> None:
    assert {standing.verdict.kind for standing in morning.standings} == set(VERDICTS)
    assert 40 <= sum(standing.pupa.is_living for standing in morning.standings) <= 50


@pytest.mark.parametrize(
    ("label", "stage", "verdict", "safe"),
    [
        ("M44", "prepupa", "wait", True),
        ("M45", "prepupa", "wait", False),
        ("L6", "prepupa", "wait", True),
        ("M40", "soft", "wait", True),  # found last evening at 19:00: 11 h 40 min at least
        ("M43", "soft", "wait", True),  # found this morning
        ("M39", "set", "care", True),  # since 06:30 yesterday: 24 h 10 min
        ("M35", "set", "care", True),  # since 19:00 the day before: 35 h 40 min
        ("M36", "set", "care", False),  # the same on glass
        ("M37", "set", "care", False),  # the same on a leaf
        ("M34", "set", "free", True),  # since 06:30 two days ago: 48 h 10 min
        ("M15", "set", "free", True),
        ("M17", "set", "free", False),  # smooth plastic
        ("M31", "set", "free", False),  # cut stem
        ("M22", "set", "free", False),  # climbable, but 6 cm above the floor
        ("M12", "darkening", "soon", True),
        ("M13", "darkening", "soon", False),
        ("M9", "clear", "leave", True),
        ("M10", "clear", "leave", False),  # glass
        ("M11", "clear", "leave", False),  # 6 cm above the floor
        ("M23", "set", "rescue", False),  # fell last evening
        ("M41", "soft", "rescue", False),  # fell this morning, a soft one
        ("M33", "set", "care", True),  # kept cold: 59 h 40 min of 72
        ("M38", "soft", "wait", True),  # kept cold: 35 h 40 min of 48
    ],
)
def test_each_case_of_the_move_rule_stands_before_the_keeper(
    standings: dict[str, Standing], label: str, stage: str, verdict: str, safe: bool
) -> None:
    standing = standings[label]
    assert (standing.stage, standing.verdict.kind, standing.unsafe == []) == (stage, verdict, safe)


def test_a_firm_pupa_in_a_poor_place_is_offered_a_better_one(standings: dict[str, Standing]) -> None:
    suggestion = standings["M17"].suggestion
    assert suggestion is not None
    assert suggestion.place == "Emergence chamber"


def test_some_pupae_hang_since_nobody_knows_when(standings: dict[str, Standing]) -> None:
    unknown = {label for label, standing in standings.items() if standing.hang.at_most is None}
    assert unknown == {"M24", "M37", "M42"}


def test_the_flags_of_the_morning_are_those_that_were_meant(standings: dict[str, Standing]) -> None:
    flagged = {label: standing.flags for label, standing in standings.items() if standing.flags}
    assert flagged == {"M2": ["dark-too-long"], "M8": ["empty-not-emerged"], "M26": ["moved-early"]}


def test_a_swallowtail_that_may_overwinter_has_hung_for_weeks(
    standings: dict[str, Standing], settings: Settings
) -> None:
    standing = standings["S1"]
    assert settings.profile(standing.pupa.species).overwinters
    assert standing.hang.at_least > 5 * 7 * 24


def test_adults_of_the_last_two_days_wait_to_be_judged_or_released(state: State) -> None:
    adults = [p for p in state.pupae.values() if p.emerged and hours_between(p.emerged.happened, NOW) <= 48]
    judged = {p.label: p.wings.condition if p.wings else "" for p in adults}
    assert judged == {"M3": "sound", "M4": "sound", "M5": "crumpled", "M6": "", "M7": "", "L1": ""}
    assert [p.label for p in adults if p.released] == []


def test_the_two_summers_are_over_and_contradict_themselves_nowhere(finished: list[Pupa]) -> None:
    assert 230 <= len(finished) <= 250
    assert {pupa.label[:2] for pupa in finished} == {"25", "26"}
    assert [pupa.label for pupa in finished if pupa.is_open] == []
    assert {pupa.label: pupa.flags for pupa in finished if pupa.flags} == {}


def test_the_summers_hold_every_outcome_move_and_gap_a_keeper_meets(
    finished: list[Pupa], season: Notebook, settings: Settings
) -> None:
    moves = [relocation.entry for pupa in finished for relocation in pupa.relocations]
    assert {pupa.wings.condition for pupa in finished if pupa.wings} == set(settings.care.wings)
    assert {pupa.sex for pupa in finished} == {"", "female", "male"}
    assert {move.method for move in moves} == set(settings.care.methods) - {"climb"}  # a climb moves nothing
    assert {move.emergency for move in moves} == {"", *settings.care.emergencies}
    assert {pupa.lost.cause for pupa in finished if pupa.lost} >= {"unknown", "vanished", "disease", "parasitoid"}
    assert any(early_moves(pupa, settings) for pupa in finished)
    assert any(len(pupa.relocations) > 1 for pupa in finished)
    assert any(pupa.formed_from is None for pupa in finished)
    assert any(pupa.emerged and pupa.wings is None for pupa in finished)
    assert any(pupa.emerged and pupa.emerged.since is None for pupa in finished)
    assert any(pupa.emerged and pupa.released is None for pupa in finished)
    assert any(isinstance(entry, Fell) for entry in season.entries)
    assert {pupa.species for pupa in finished} == {"monarch", "painted-lady", "black-swallowtail"}


def test_no_mark_is_given_twice(state: State) -> None:
    marks = [pupa.marked.code for pupa in state.pupae.values() if pupa.marked]
    assert len(marks) > 40
    assert len(set(marks)) == len(marks)


def test_staying_on_smooth_walls_and_cut_stems_went_worse_than_mesh_and_than_being_moved(
    finished: list[Pupa], settings: Settings
) -> None:
    def sound_share(surfaces: set[str], moved: bool) -> float:
        group = [
            pupa
            for pupa in finished
            if settings.place(pupa.site).surface in surfaces and bool(pupa.relocations) == moved
        ]
        ended = [pupa for pupa in group if pupa.lost or pupa.wings]
        assert len(ended) >= 25
        return sum(pupa.wings is not None and pupa.wings.condition == "sound" for pupa in ended) / len(ended)

    poor = {"plastic", "glass", "cut-stem"}
    assert sound_share(poor, moved=False) < sound_share({"mesh"}, moved=False) - 0.2
    assert sound_share(poor, moved=False) < sound_share(poor, moved=True) - 0.2
