"""A move is one key, one choice; one that is too early is refused, with the time from which it may be made.

The hanging times (24 h untouched) and that glass cannot be climbed: common practice, no source.
"""

from typing import TYPE_CHECKING

import msgspec

from pupawatch.keeper import Keeper
from pupawatch.model.entries import Moved
from pupawatch.model.settings import Place

if TYPE_CHECKING:
    from conftest import Opened


async def test_a_move_offers_every_other_place_with_its_surface_and_room(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("m")
        assert len(hand.choices) == 2
        jar = next(choice for choice in hand.choices if "Jar" in choice)
        line = next(choice for choice in hand.choices if "Line" in choice)
        assert "glass" in jar
        assert "1" in jar.split("glass")[1]
        assert "cannot be climbed" in jar
        assert "6" in line.split("line")[-1] or "5" in line.split("line")[-1]


async def test_a_full_place_is_called_full(small: Keeper, opened: "Opened") -> None:
    small.settings = msgspec.structs.replace(
        small.settings,
        places=[
            msgspec.structs.replace(place, capacity=1) if place.name == "Jar" else place
            for place in small.settings.places
        ],
    )
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("m")
        assert "full" in next(choice for choice in hand.choices if "Jar" in choice)


async def test_the_best_place_is_under_the_cursor_and_enter_moves_it_there(small: Keeper, opened: "Opened") -> None:
    tin = Place(name="Tin", surface="floor")  # the first on the walk, but nothing can climb there
    small.settings = msgspec.structs.replace(small.settings, places=[tin, *small.settings.places])
    async with opened(small, forecasts=True) as hand:
        assert await hand.decided()
        await hand.go_to("B1")
        standing = hand.shelf.row and hand.shelf.row.standing
        assert standing
        assert standing.suggestion
        best = standing.suggestion.place
        assert best in ("Roof", "Line")
        await hand.press("m")
        assert best in hand.chosen
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Moved)
        assert (entry.to, entry.emergency) == (best, "")
        assert small.pupa("B1").place == best


async def test_a_number_moves_it_there_at_once(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("m")
        await hand.pick("Roof")
        assert small.pupa("B1").place == "Roof"


async def test_the_steps_and_cautions_of_the_method_stand_beside_the_places(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("m")
        seen = hand.seen()
        assert "! " in seen
        assert small.settings.care.methods["silk"].words in seen


async def test_tab_changes_the_method_which_is_written_with_the_move(small: Keeper, opened: "Opened") -> None:
    methods = list(small.settings.care.methods)
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("m")
        before = next(method for method in methods if small.settings.care.methods[method].words in hand.seen())
        await hand.press("tab", "enter")
        (entry,) = hand.written()
        assert isinstance(entry, Moved)
        assert entry.method == methods[methods.index(before) + 1]


async def test_a_soft_pupa_is_not_moved_and_the_refusal_says_from_when_it_may_be(
    small: Keeper, opened: "Opened"
) -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("m")
        assert "20:40" in hand.seen()  # 24 h after the last instant at which it can have formed, 20:40 yesterday
        await hand.press("enter")
        assert hand.written() == []
        assert not hand.in_front


async def test_escape_leaves_a_refusal_with_nothing_written(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("m", "escape")
        assert hand.written() == []
        assert not hand.in_front


async def test_a_named_emergency_leads_from_the_refusal_to_the_places(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("m")
        await hand.pick("predator")
        assert hand.written() == []
        await hand.pick("Line")
        moves = [entry for entry in hand.written() if isinstance(entry, Moved)]
        assert [(move.to, move.emergency, move.advice) for move in moves] == [("Line", "predator", "wait")]


async def test_a_fallen_soft_pupa_can_be_rescued_at_once(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("f")
        await hand.go_to("A2")
        await hand.press("m", "enter")
        move = hand.written()[-1]
        assert isinstance(move, Moved)
        assert move.emergency == "fallen"
        assert small.pupa("A2").danger == ""


async def test_a_hanging_caterpillar_is_not_moved_either(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("C1")
        await hand.press("m", "enter")
        assert hand.written() == []


async def test_an_advised_against_move_is_made_and_said(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("m")
        await hand.pick("Jar")
        assert small.pupa("A1").place == "Jar"
        assert "cannot be climbed" in hand.seen().splitlines()[-2]


async def test_with_no_other_place_there_is_nothing_to_pick(small: Keeper, opened: "Opened") -> None:
    small.settings = msgspec.structs.replace(small.settings, places=[Place(name="Roof", surface="mesh")])
    for label in ("B1", "C1"):
        small.pupae.lost(label, "unknown")
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("m")
        assert not hand.in_front
        assert "no other place" in hand.seen()
