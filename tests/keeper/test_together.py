"""Several acts done as one: one moment, one undo, and all of it on disk or nothing."""

from functools import partial
from typing import Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper


@pytest.fixture
def three(keeper: Keeper, clock: Any) -> Keeper:
    for label in ("A1", "A2", "A3"):
        keeper.pupae.found(label, "Roof")
    clock.on(days=9)
    return keeper


def test_several_are_one_act_with_one_undo(three: Keeper) -> None:
    told = three.together([partial(three.pupae.saw, label, "darkening") for label in ("A1", "A2", "A3")])
    assert [done.words for done in told.done] == [f"{label} is darkening." for label in ("A1", "A2", "A3")]
    assert len({entry.act for done in told.done for entry in done.entries}) == 1
    assert three.undo().words == "Undone: A1, A2, A3 seen darkening."
    assert {three.pupa(label).stage_seen for label in ("A1", "A2", "A3")} == {""}
    assert three.redo().words == "Redone: A1, A2, A3 seen darkening."


def test_what_makes_no_sense_is_left_out_and_the_rest_is_done(three: Keeper) -> None:
    three.pupae.lost("A2", "fall")
    told = three.together([partial(three.pupae.saw, label, "clear") for label in ("A1", "A2", "A9", "A3")])
    assert [done.words for done in told.done] == ["A1 is clear.", "A3 is clear."]
    assert [str(error).split(";")[0].split(":")[0] for error in told.refused] == [
        "A2 is no longer a pupa in your care",
        "There is no pupa labelled “A9”",
    ]


def test_each_is_checked_against_what_those_before_it_wrote(three: Keeper) -> None:
    told = three.together([partial(three.moves.move, label, "Jar") for label in ("A1", "A2", "A3")])
    full = [done.words for done in told.done if any("full" in warning for warning in done.warnings)]
    assert full == ["A3 moved from Roof to Jar."]  # the jar holds two


def test_where_the_disk_fails_nothing_of_it_was_done(three: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    before, append, calls = three.last(), Journal._append, []

    def fails(journal: Journal, entries: object) -> None:
        calls.append(entries)
        if len(calls) == 2:
            raise Unusable("The disk is full.")
        append(journal, entries)  # type: ignore[arg-type]

    monkeypatch.setattr(Journal, "_append", fails)
    with pytest.raises(Unusable, match="disk is full"):
        three.together([partial(three.pupae.saw, label, "clear") for label in ("A1", "A2", "A3")])
    assert three.last() == before
    assert {pupa.stage_seen for pupa in three.state.pupae.values()} == {""}
    monkeypatch.undo()
    assert three.pupae.saw("A1", "clear").words == "A1 is clear."
    assert three.undo().words == "Undone: A1 seen clear."
