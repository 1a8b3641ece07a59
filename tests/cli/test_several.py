"""Several pupae in one command: each its own entry, one act, one undo."""

from collections.abc import Callable
from typing import Any

import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.model.labels import spread

Run = Callable[..., Any]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("M41-M44", ["M41", "M42", "M43", "M44"]),
        ("m9-M11", ["m9", "m10", "m11"]),
        ("A08-A10", ["A08", "A09", "A10"]),
        ("26-C9-26-C10", ["26-C9", "26-C10"]),
        ("M7-M7", ["M7"]),
        ("26-C4", ["26-C4"]),  # a label with a hyphen is none
        ("26-30", ["26-30"]),
        ("M1-N4", ["M1-N4"]),
        ("M1", ["M1"]),
        ("roof-side", ["roof-side"]),
    ],
)
def test_a_range_repeats_what_stands_before_its_numbers(typed: str, meant: list[str]) -> None:
    assert spread(typed) == meant


@pytest.mark.parametrize("typed", ["M44-M41", "M1-M900"])
def test_a_range_that_is_a_slip_is_refused(typed: str) -> None:
    with pytest.raises(NotUnderstood, match="the lower number comes first"):
        spread(typed)


def test_twelve_found_at_once_are_twelve_pupae_and_one_undo(run: Run) -> None:
    answer = run("found", "M41-M52", "--place", "Roof", "--quiet")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines() == [f"M{number} is a pupa in Roof." for number in range(41, 53)]
    assert run("undo").out == "Undone: M41, M42, M43 and 9 more pupa found in Roof.\n"
    assert "M41" not in run("pupae", "--all").out


def test_what_cannot_be_done_is_told_and_the_rest_is_done(run: Run) -> None:
    run("found", "M1-M3", "--place", "Roof", "--at", "2026-08-28T06:40")
    run("lost", "M2", "fall")
    answer = run("saw", "M1-M3", "M9", "darkening")
    assert answer.out == "M1 is darkening.\nM3 is darkening.\n"
    assert [line.split(";")[0].split(":")[:2] for line in answer.err.splitlines()] == [
        ["pupawatch", " M2 is no longer a pupa in your care"],
        ["pupawatch", " There is no pupa labelled “M9”"],
    ]
    assert answer.code == 2
    assert run("undo").out == "Undone: M1, M3 seen darkening.\n"


def test_the_move_rule_stands_against_each_by_itself(run: Run) -> None:
    run("found", "M1", "M2", "--place", "Jar", "--at", "2026-09-01T06:40")
    run("found", "M3", "--place", "Jar")
    answer = run("move", "M1-M3", "Roof", "--quiet")
    assert answer.out == "M1 moved from Jar to Roof.\nM2 moved from Jar to Roof.\n"
    assert "M3 must not be moved yet" in answer.err
    assert answer.code == 1


def test_a_label_that_looks_like_a_range_is_the_pupa_that_has_it(run: Run) -> None:
    run("found", "M1", "M2", "M1-M2x", "--place", "Roof", "--at", "2026-09-01T06:40")
    run("relabel", "M1-M2x", "M1-M2")
    assert run("saw", "M1-M2", "set").out == "M1-M2 is set.\n"


def test_one_named_twice_is_recorded_once(run: Run) -> None:
    run("found", "M1-M2", "--place", "Roof", "--at", "2026-09-01T06:40")
    assert run("saw", "M1", "M1-M2", "M1", "set").out == "M1 is set.\nM2 is set.\n"


def test_the_steps_for_the_hand_are_told_once(run: Run) -> None:
    run("found", "M1-M4", "--place", "Jar", "--at", "2026-09-01T06:40")
    told = run("aid", "M1-M4").err
    assert told.count("Touch neither the pupa nor the silk.") == 1


def test_what_is_wrong_for_all_is_said_once(run: Run) -> None:
    run("found", "M1-M3", "--place", "Roof", "--at", "2026-08-28T06:40")
    assert run("saw", "M1-M3", "blue").err.count("is not a known colour stage") == 1
