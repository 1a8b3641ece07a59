"""The commands about where pupae hang: the plan, the moves so far, whether one holds, a climb, a place with its room.

The move rule's hours are common practice, no source; names and exit codes are what this program promises.
"""

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from pupawatch.keeper import Keeper
from pupawatch.model.times import Span

Run = Callable[..., Any]
PROPOSAL = {"label", "species", "kind", "verdict", "from", "to", "method", "why", "risk", "toss_up"}
MOVE = {
    "label", "since", "happened", "from", "to", "method", "hang_hours", "stage", "advice", "reason", "emergency",
    "early", "held", "ended", "wings",
}  # fmt: skip


@pytest.fixture
def stocked(keeper: Keeper) -> Keeper:
    """In the jar B1 and B2, firm; on the roof A1, firm, and A2, soft."""
    now = keeper.clock()
    for label, place, hours in (("B1", "Jar", 100), ("B2", "Jar", 90), ("A1", "Roof", 100), ("A2", "Roof", 10)):
        keeper.pupae.found(label, place, when=Span(now - timedelta(hours=hours + 6), now - timedelta(hours=hours)))
    return keeper


def test_the_plan_lists_proposals_and_what_is_left_and_their_risk(stocked: Keeper, run: Run) -> None:
    answer = run("plan", "--json")
    told = json.loads(answer.out)
    assert answer.code == 0
    assert told.keys() == {"as_of", "moves_left", "risk", "proposals", "leave", "tomorrow"}
    assert {one["label"]: (one["kind"], one["to"]) for one in told["proposals"]} == {
        "B1": ("move", "Roof"),
        "B2": ("move", "Roof"),
    }
    assert {one["label"]: one["kind"] for one in told["leave"]} == {"A1": "peace", "A2": "soft"}
    assert all(one.keys() == PROPOSAL for one in told["proposals"] + told["leave"])
    assert all(one["risk"]["moved"] < one["risk"]["stays"] for one in told["proposals"])
    assert 0 < told["risk"]["planned"] < told["risk"]["now"] < 4


def test_the_plan_in_words_says_whom_where_and_why(stocked: Keeper, run: Run) -> None:
    told = run("plan").out
    assert (
        "MOVE      B1       → Roof (by its silk); Jar cannot be climbed (glass); Roof can be climbed and has room"
        in told
    )
    assert "leave     A2       may be moved from 20:40; has hung at least 10 h, soft until 24 h" in told
    assert "alone, hanging safely: A1" in told


def test_the_plan_of_an_earlier_morning_can_be_looked_at(stocked: Keeper, run: Run) -> None:
    stocked.moves.move("B1", "Roof")
    before = json.loads(run("plan", "--json", "--as-of", "06:00").out)
    assert {one["label"] for one in before["proposals"]} == {"B1", "B2"}
    assert [one["label"] for one in json.loads(run("plan", "--json").out)["proposals"]] == ["B2"]


def test_moves_are_listed_with_all_that_was_logged_and_how_they_ended(stocked: Keeper, run: Run) -> None:
    assert run("move", "B1", "Roof", "--method", "silk", "--reason", "glass").code == 0
    assert run("fell", "A2").code == 0
    assert run("move", "A2", "Jar", "--emergency", "fallen").code == 0
    assert run("held", "B1", "yes").out == "B1 holds in Roof.\n"
    moves = {one["label"]: one for one in json.loads(run("moves", "--json").out)["moves"]}
    assert all(one.keys() == MOVE for one in moves.values())
    b1, a2 = moves["B1"], moves["A2"]
    assert (b1["from"], b1["to"], b1["method"], b1["reason"], b1["stage"]) == ("Jar", "Roof", "silk", "glass", "set")
    assert (b1["hang_hours"], b1["held"], b1["ended"]) == ({"at_least": 100, "at_most": 106}, True, "holds")
    assert (b1["emergency"], b1["early"], b1["advice"]) == (None, False, "free")
    assert (a2["emergency"], a2["early"], a2["stage"], a2["held"]) == ("fallen", False, "soft", None)


def test_moves_are_narrowed_down_by_place_method_early_and_emergency(stocked: Keeper, run: Run) -> None:
    run("move", "B1", "Roof", "--method", "silk")
    run("fell", "A1")
    run("move", "A1", "Jar", "--method", "prop")

    def labels(*asked: str) -> list[str]:
        return [one["label"] for one in json.loads(run("moves", "--json", *asked).out)["moves"]]

    assert labels() == ["A1", "B1"]
    assert labels("--method", "silk") == ["B1"]
    assert labels("--emergency") == ["A1"]
    assert labels("--early") == []
    assert labels("--place", "roof") == ["A1", "B1"]
    assert run("moves", "--place", "Roof", "--early").out == "No such move.\n"
    assert run("moves", "--method", "silck").code == 2


def test_a_pupa_that_came_down_again_is_to_be_rescued(stocked: Keeper, run: Run) -> None:
    run("move", "B1", "Roof")
    assert "needs rescue" in run("held", "B1", "no").out
    (one,) = [p for p in json.loads(run("plan", "--json").out)["proposals"] if p["kind"] == "rescue"]
    assert (one["label"], one["from"], one["to"]) == ("B1", "Roof", "Roof")
    assert (
        run("move", "B1", "Roof", "--method", "prop").out
        == "B1 hung again in Roof (laid by mesh; emergency: fallen).\n"
    )
    assert [e["ended"] for e in json.loads(run("moves", "--json").out)["moves"]] == ["hangs", "fell"]


def test_what_was_never_moved_cannot_hold(stocked: Keeper, run: Run) -> None:
    answer = run("held", "A1", "yes")
    assert answer.code == 2
    assert "has not been moved" in answer.err


def test_a_climb_makes_a_place_good_for_that_pupa_alone(stocked: Keeper, run: Run) -> None:
    run("saw", "B1", "clear")
    run("saw", "B2", "clear")
    assert [one["kind"] for one in json.loads(run("plan", "--json").out)["proposals"]] == ["climb", "climb"]
    assert run("climb", "B1").out == "B1 has a climbing aid beside it.\n"
    assert [one["label"] for one in json.loads(run("plan", "--json").out)["proposals"]] == ["B2"]


def test_a_move_into_or_out_of_quarantine_is_made_and_said(stocked: Keeper, run: Run) -> None:
    run("quarantine", "Roof")
    answer = run("move", "B1", "Roof")
    assert answer.code == 0
    assert "Roof is in quarantine" in answer.err


def test_a_place_tells_its_length_and_its_troubles(stocked: Keeper, run: Run) -> None:
    assert run("place", "Line", "--surface", "line", "--length-cm", "80", "--disturbed", "ants").code == 0
    assert run("place", "Line", "--sun", "yes", "--spacing-cm", "10").code == 0
    assert {one["to"] for one in json.loads(run("plan", "--json").out)["proposals"]} == {"Roof"}
    assert run("place", "Line", "--sun", "no", "--disturbed", "no").code == 0
    assert run("place", "Line", "--spacing-cm", "-1").code == 2


@pytest.mark.parametrize(("days", "how"), [(0.5, "lay it on crumpled paper"), (6, "hang it up again")])
def test_what_fell_where_it_may_stay_is_hung_again_only_when_it_is_set(
    run: Run, clock: Any, days: float, how: str
) -> None:
    """Common practice: a soft pupa that fell is laid down, not hung; the steps beside it say the same."""
    run("place", "Roof", "--surface", "mesh")
    run("found", "A1", "--place", "Roof", "--at", (clock.now - timedelta(days=days)).isoformat())
    run("fell", "A1")
    assert how in run("today").out
