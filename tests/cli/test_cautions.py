"""Cautions where the hand acts, on the command line: every act that can hurt somebody or break a law says how.

What is dangerous: milky sap in an eye (documented injuries of the cornea), bleach with acid or ammonia, hot glue,
blades and needles, keeping, marking and releasing without a permit (state rules). How it is said is this program's own.
"""

from collections.abc import Callable
from typing import Any

import pytest

from pupawatch import cli
from pupawatch.cli.parser import RENAMED

Run = Callable[..., Any]

OUT = ["emerged", "A1", "--at", "2026-09-07T07:00"]

ACTS: dict[str, tuple[list[list[str]], list[str], str]] = {
    "found": ([], ["found", "B1", "--place", "Jar"], "permit"),
    "found a prepupa": ([], ["found", "B1", "--place", "Jar", "--prepupa"], "latex"),
    "move by tie": ([], ["move", "A1", "Roof", "--method", "tie"], "sap"),
    "move by silk": ([], ["move", "A1", "Roof", "--method", "silk"], "latex"),
    "move by whole": ([], ["move", "A1", "Roof", "--method", "whole"], "latex"),
    "move by glue": ([], ["move", "A1", "Roof", "--method", "glue"], "never used near a pupa or a finger"),
    "move by prop": ([], ["move", "A1", "Roof", "--method", "prop"], "sap"),
    "move by sling": ([], ["move", "A1", "Roof", "--method", "sling"], "Blades"),
    "move off a cut stem, no method named": ([], ["move", "A1", "Roof"], "latex"),
    "fell": ([], ["fell", "A1"], "Lift by silk"),
    "held no": ([["move", "A1", "Roof"]], ["held", "A1", "no"], "Lift by silk"),
    "aid": ([], ["aid", "A1"], "Touch neither"),
    "mark": ([OUT], ["mark", "A1", "x1"], "permit"),
    "mark, holding": ([OUT], ["mark", "A1", "x1"], "flat between two fingers"),
    "release": ([OUT], ["release", "A1"], "permit"),
    "release, kept": (
        [OUT, ["wings", "A1", "crumpled"]],
        ["release", "A1", "--kept", "Roof"],
        "permit",
    ),
    "adult": ([["emerged", "A1"]], ["adult", "A1", "fell"], "never lift it by the wings"),
    "cleaned": ([], ["cleaned", "Jar", "gear", "--minutes", "300"], "never with acid or ammonia"),
    "finding": ([], ["finding", "A1", "soft-body"], "Gloves on"),
}  # fmt: skip
"""What comes before, the act, and words of the caution it must say."""

NO_HAND = {
    "visited", "saw", "emerged", "wings", "lost", "note", "relabel", "sex", "origin", "measured", "brood", "undo", 
    "redo", "place", "quarantine", "expect",
}  # fmt: skip
"""Commands that record what was seen or decided, without a hand in the cage."""


@pytest.fixture
def cage(run: Run, clock: Any) -> Run:
    run("place", "Roof", "--surface", "mesh")
    run("place", "Jar", "--surface", "cut-stem")
    run("found", "A1", "--place", "Jar", "--between", "2026-08-28T07:00", "2026-08-28T19:00")
    return run


@pytest.mark.parametrize("act", ACTS)
def test_an_act_of_the_hand_says_its_cautions_unless_told_to_be_quiet(cage: Run, act: str) -> None:
    before, words, caution = ACTS[act]
    for earlier in before:
        assert cage(*earlier).code == 0
    told = cage(*words)
    assert told.code == 0, told
    assert "  ! " in told.err
    assert caution in told.err
    assert "  ! " not in told.out
    assert cage("undo").code == 0
    quiet = cage(*words, "--quiet")
    assert (quiet.code, quiet.out) == (0, told.out)
    assert "  ! " not in quiet.err


def test_the_plan_says_how_unless_told_to_be_quiet(cage: Run) -> None:
    told = cage("plan").out
    assert "MOVE" in told
    assert "latex" in told
    assert "  ! " not in cage("plan", "--quiet").out


def test_every_command_that_records_is_on_one_of_the_two_lists() -> None:
    commands = cli._parser()._subparsers._group_actions[0].choices  # type: ignore[union-attr]
    recording = {
        name
        for name, command in commands.items()
        if name not in RENAMED and any("--at" in action.option_strings for action in command._actions)
    }
    tried = {words[0] for _, words, _ in ACTS.values()}
    assert recording - tried - NO_HAND == set()
    assert tried <= recording
