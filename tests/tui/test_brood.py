"""Broods on the round: which one a pupa belongs to, for several in one act."""

from typing import TYPE_CHECKING

from pupawatch.keeper import Keeper
from pupawatch.model.entries import Belongs

if TYPE_CHECKING:
    from conftest import Opened


async def test_a_key_puts_several_into_a_brood_with_one_undo(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        first, second = hand.labels[:2]
        await hand.go_to(first)
        await hand.press("B")
        await hand.type("Tray")
        await hand.press("tab")
        await hand.type(f"{first} {second}")
        await hand.press("enter")
        written = hand.written()
        assert [type(entry) for entry in written] == [Belongs, Belongs]
        assert len({entry.act for entry in written}) == 1
        await hand.press("u")
        assert {pupa.brood for pupa in small.state.pupae.values()} == {""}


async def test_a_label_nobody_holds_is_said_in_the_form_and_nothing_is_written(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to(hand.labels[0])
        await hand.press("B")
        await hand.type("Tray")
        await hand.press("tab")
        await hand.type("nobody")
        await hand.press("enter")
        assert "nobody" in hand.told()
        await hand.press("escape")
        assert hand.written() == []
