"""From a telephone's 48 columns to 200: nothing that is to be read, typed in or pressed lies off the screen."""

from typing import TYPE_CHECKING

import pytest
from textual.containers import VerticalScroll
from textual.geometry import Region
from textual.widget import Widget
from textual.widgets import Input

from pupawatch.keeper import Keeper
from pupawatch.tui.screens.move import MoveTo

if TYPE_CHECKING:
    from conftest import Hand, Opened

SIZES = [(48, 20), (60, 20), (80, 24), (120, 40), (200, 60)]
"""48 columns: a telephone, or half a window."""


def on_screen(hand: "Hand", part: Widget) -> bool:
    """Whether all of it can be seen, at least a line of it and all of its columns."""
    width, height = hand.app.size
    return part.region.height > 0 and Region(0, 0, width, height).contains_region(part.region)


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("keys", [["p", "enter"], ["p", "N"], ["n"], ["a"], ["p", "t"]], ids=str)
async def test_every_field_of_a_form_can_be_reached_with_its_keys_and_errors_in_view(
    demo: Keeper, opened: "Opened", size: tuple[int, int], keys: list[str]
) -> None:
    async with opened(demo, size) as hand:
        await hand.press(*keys)
        screen = hand.app.screen
        for field in screen.query(Input):
            assert hand.app.focused is field
            assert on_screen(hand, field), field.id
            assert on_screen(hand, screen.query_one(".foot"))
            await hand.press("tab")
        screen.query(Input).first().value = "" if keys[-1] != "enter" else "no surface"
        await hand.press("enter")
        if hand.in_front and screen.query("#wrong") and hand.app.screen is screen:
            await hand.pilot.pause()
            assert on_screen(hand, screen.query_one("#wrong"))
            assert on_screen(hand, screen.query_one(".foot"))


@pytest.mark.parametrize("size", SIZES, ids=str)
async def test_the_last_step_of_a_move_can_be_read_with_the_keys_that_are_shown(
    demo: Keeper, opened: "Opened", size: tuple[int, int]
) -> None:
    async with opened(demo, size) as hand:
        await hand.press("m")
        screen = hand.app.screen
        assert isinstance(screen, MoveTo)
        foot = screen.query_one(".foot")
        assert on_screen(hand, foot)
        assert "space reads on" in hand.seen()
        below = screen.query_one(VerticalScroll)
        for _ in range(12):
            await hand.press("space")
        last = demo.settings.care.methods[screen.method].steps[-1]
        assert last.split()[-1] in " ".join(hand.seen().split())
        assert below.scroll_y == below.max_scroll_y
        assert on_screen(hand, foot)


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("key", ["", "t", "b", "i", "g", "y", "p", "S"])
async def test_every_screen_shows_its_cursor_its_help_and_its_way_back(
    demo: Keeper, opened: "Opened", size: tuple[int, int], key: str
) -> None:
    async with opened(demo, size) as hand:
        await hand.press(*key)
        lines = hand.seen().split("\n")
        assert "? Help" in lines[-1]
        assert ("esc Back" in lines[-1]) == bool(key)
        assert max(len(line) for line in lines) <= size[0]


async def test_a_telephone_shows_advice_label_stage_and_deed_and_the_story_as_a_page(
    demo: Keeper, opened: "Opened"
) -> None:
    async with opened(demo, (48, 20)) as hand:
        line = hand.seen().split("\n")[2]
        assert line.split()[:4] == ["►", "RESCUE", "M41", "◌"]
        assert "Kitchen bouquet" in line
        await hand.press("enter")
        assert "HISTORY" in hand.told()


async def test_an_answer_leaves_the_selected_pupa_in_view(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (48, 20)) as hand:
        await hand.press(*["down"] * 11)
        here = hand.here
        hand.app.screen.say("A long answer that goes on for more than one line, as a warning does. " * 3)  # type: ignore[attr-defined]
        await hand.pilot.pause()
        assert any(here in line and "leave" not in line[:3] for line in hand.seen().split("\n"))


@pytest.mark.parametrize("size", [(48, 20), (80, 24), (120, 40)], ids=str)
async def test_the_arrows_go_from_field_to_field_also_where_the_form_scrolls(
    demo: Keeper, opened: "Opened", size: tuple[int, int]
) -> None:
    async with opened(demo, size) as hand:
        await hand.press("n")
        went = []
        for key in ("down", "down", "up", "up", "up"):
            await hand.press(key)
            assert hand.app.focused is not None
            went.append(hand.app.focused.id)
        assert went == ["place", "what", "place", "label", "since"]
