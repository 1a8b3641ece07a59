"""Several pupae chosen with a key, one act for all of them with one undo; the list in other orders; a line copied."""

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from pupawatch.keeper import Keeper
from pupawatch.model.entries import Belongs, Moved, Note, Seen
from pupawatch.model.times import Span

if TYPE_CHECKING:
    from conftest import Opened


async def test_six_darkened_are_one_act_with_one_undo(small: Keeper, opened: "Opened") -> None:
    old = small.clock() - timedelta(days=9)
    for number in range(1, 7):
        small.pupae.found(f"D{number}", "Roof", when=Span(old - timedelta(hours=9), old))
    async with opened(small) as hand:
        await hand.go_to("D1")
        await hand.press("plus", "plus", "plus", "plus", "plus", "plus")
        assert "6 chosen (esc lets go): D1, D2, D3, D4, D5, D6" in hand.seen()
        await hand.press("d")
        assert hand.said.startswith("✓ Darkening: D1, D2, D3, D4, D5, D6.")
        assert [type(entry) for entry in hand.written()] == [Seen] * 6
        assert len({entry.act for entry in hand.written()}) == 1
        assert "chosen" not in hand.seen()
        await hand.press("u")
        assert {small.pupa(f"D{n}").stage_seen for n in range(1, 7)} == {""}


async def test_one_that_the_rule_stands_against_is_named_and_the_rest_is_moved(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        for label in ("A1", "A2", "B1"):  # A2 is soft
            await hand.go_to(label)
            await hand.press("plus")
        await hand.press("m")
        assert hand.title.startswith("Move A1, B1 to")
        await hand.pick("Line")
        assert hand.said.startswith("✓ Moved to Line: A1, B1.")
        assert "A2 must not be moved yet" in hand.said
        moved = [entry for entry in hand.written() if isinstance(entry, Moved)]
        assert [(small.state.pupae[entry.pupa].label, entry.to) for entry in moved] == [("A1", "Line"), ("B1", "Line")]
        await hand.press("u")
        assert [small.pupa(label).place for label in ("A1", "B1")] == ["Roof", "Jar"]


async def test_none_that_may_be_moved_opens_no_dialog(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("plus", "m")
        assert "None of those chosen may be moved now" in hand.said
        assert not hand.in_front


async def test_the_line_of_a_place_chooses_all_that_hang_there(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("plus")
        assert "3 chosen (esc lets go)" in hand.seen()
        await hand.press("plus")
        assert "chosen" not in hand.seen()
        await hand.press("asterisk")
        assert "5 chosen (esc lets go)" in hand.seen()
        await hand.press("escape")
        assert "chosen" not in hand.seen()
        assert hand.written() == []


async def test_a_note_and_a_brood_are_for_all_that_are_chosen(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("plus", "plus", "a")
        await hand.type("on the north side")
        await hand.press("enter")
        assert [type(entry) for entry in hand.written()] == [Note, Note]
        await hand.go_to("A1")
        await hand.press("plus", "plus", "B")
        await hand.type("Tray")
        await hand.press("enter")
        assert [type(entry) for entry in hand.written()] == [Note, Note, Belongs, Belongs]


async def test_what_is_filtered_away_is_chosen_no_longer(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("plus", "slash")
        await hand.type("A1")
        await hand.press("enter")
        assert "chosen" not in hand.seen()
        await hand.press("d")
        assert [small.pupa(label).stage_seen for label in ("A1", "B1")] == ["darkening", ""]


@pytest.mark.parametrize(
    ("presses", "order"),
    [
        (0, ["A1", "A2", "A3", "B1", "A10", "C1"]),
        (2, ["A1", "A3", "B1", "A2", "A10", "C1"]),  # by hang time: what hangs longest first
        (3, ["A1", "A2", "A3", "A10", "B1", "C1"]),  # as people count: A10 after A3
    ],
)
async def test_the_list_is_ordered_by_a_key(presses: int, order: list[str], small: Keeper, opened: "Opened") -> None:
    small.pupae.found("A10", "Line")
    async with opened(small) as hand:
        await hand.press(*["O"] * presses)
        assert hand.labels == order


async def test_by_due_day_the_first_to_emerge_stands_first(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (120, 40), forecasts=True) as hand:
        assert await hand.decided()
        await hand.press("O")
        assert hand.said == "The list is ordered by due day; O again for the next order."
        due = [row.standing.outlook.median for row in hand.shelf.rows if row.standing and row.standing.outlook]
        dated = [one for one in due if one is not None]
        assert dated == sorted(dated)
        assert len(dated) > 30


async def test_space_leads_back_to_the_places(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("O", "space")
        assert hand.here in ("Roof", "Jar", "Line")


async def test_a_line_is_copied(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("Y")
        assert hand.app.clipboard.startswith("+ FREE B1 ○ set")
        assert hand.said.startswith("Copied: + FREE B1")


async def test_wings_are_judged_for_all_and_a_label_is_given_to_none_of_several(
    small: Keeper, opened: "Opened"
) -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("plus")
        await hand.go_to("A3")
        await hand.press("plus", "L")
        assert "A label is for one pupa alone" in hand.said
        await hand.press("w")
        assert "A1, A3 have not emerged" in hand.said
        await hand.press("e", "v", "v", "v")  # both are out; the view of those finished lately
        await hand.go_to("A1")
        await hand.press("plus")
        await hand.go_to("A3")
        await hand.press("plus", "w")
        await hand.pick("sound")
        assert hand.said.startswith("✓ Wings sound: A")
        assert hand.kinds() == ["emerged", "emerged", "wings", "wings"]


async def test_the_heading_of_what_cannot_wait_chooses_what_stands_below_it(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (120, 40)) as hand:
        below = [row.standing.pupa.label for row in hand.shelf.rows if row.standing and row.lifted]
        hand.shelf.highlighted = 0
        await hand.press("plus")
        assert f"{len(below)} chosen (esc lets go): {', '.join(below)}" in hand.seen()
