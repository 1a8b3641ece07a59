"""The palette finds every act, screen, place and pupa by name."""

from typing import TYPE_CHECKING

import pytest
from textual.command import CommandPalette
from textual.widgets import OptionList

from pupawatch.keeper import Keeper
from pupawatch.tui.screens.places import PlacesScreen
from pupawatch.tui.screens.plan import PlanScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened


async def look_up(hand: "Hand", words: str) -> None:
    """Open the palette, type, and take the first that is found."""
    await hand.press("ctrl+p")
    assert isinstance(hand.app.screen, CommandPalette)
    await hand.press(*words)
    listed = hand.app.screen.query_one(OptionList)
    assert await hand.until(lambda: listed.option_count > 0 and not listed.options[0].disabled)
    await hand.pilot.pause(0.3)
    await hand.press("enter")
    await hand.pilot.pause(0.1)


@pytest.mark.parametrize("name", ["B1", "Jar"])
async def test_a_pupa_and_a_place_are_found_by_name(small: Keeper, opened: "Opened", name: str) -> None:
    async with opened(small) as hand:
        await look_up(hand, name)
        assert not hand.in_front
        assert hand.here == name


async def test_a_pupa_is_found_from_another_screen_and_the_round_shows_it(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("p")
        await look_up(hand, "B1")
        assert not hand.in_front
        assert hand.here == "B1"


async def test_a_screen_is_found_by_its_word_from_any_other(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await look_up(hand, "Plan")
        assert isinstance(hand.app.screen, PlanScreen)
        await look_up(hand, "Places")
        assert isinstance(hand.app.screen, PlacesScreen)
        assert len(hand.app.screen_stack) == 2


async def test_an_act_is_found_by_what_it_does(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await look_up(hand, "darkening")
        assert hand.kinds() == ["seen"]
        assert small.pupa("A1").stage_seen == "darkening"


async def test_it_does_not_open_in_front_of_a_dialog(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("n", "ctrl+p")
        assert not isinstance(hand.app.screen, CommandPalette)
