"""The keys u and r: on every screen the same, and a question before anything older is taken back.

What is expected is what this program promises its keeper.
"""

from typing import TYPE_CHECKING

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.session import Session
from pupawatch.tui.screens.dialogs import Pick

if TYPE_CHECKING:
    from conftest import Opened


@pytest.fixture
def begun(small: Keeper) -> Keeper:
    """The small shelf, as it stands before a program begins."""
    small.session = Session()
    return small


def apart(keeper: Keeper) -> list[str]:
    """The places in quarantine, as the settings on disk say."""
    return [place.name for place in files.load(keeper.folder).places if place.quarantined]


async def test_z_and_then_u_ends_the_quarantine_and_takes_nothing_else_back(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d", "i", "down", "z")
        assert apart(begun) == ["Roof"]
        await hand.press("u")
        assert "Undone: Roof in quarantine." in hand.seen()
        assert apart(begun) == []
        assert begun.pupa("A1").stage_seen == "darkening"
        await hand.press("ctrl+r")
        assert "Redone: Roof in quarantine." in hand.seen()
        assert apart(begun) == ["Roof"]


async def test_what_was_done_on_one_screen_is_undone_on_another_the_newest_first(
    begun: Keeper, opened: "Opened"
) -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d", "i", "down", "z", "escape")
        await hand.press("u")
        assert "Undone: Roof in quarantine." in hand.said
        assert hand.here == "Roof"
        await hand.press("u")
        assert "Undone: A1 seen darkening." in hand.said
        assert hand.here == "A1"


async def test_an_edit_of_a_place_is_undone_and_redone_on_the_places_screen(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.press("p", "J")
        assert [place.name for place in begun.settings.places] == ["Jar", "Roof", "Line"]
        await hand.press("u")
        assert [place.name for place in begun.settings.places] == ["Roof", "Jar", "Line"]
        assert "Undone: Roof number 2 of the round." in hand.seen()
        await hand.press("ctrl+r")
        assert [place.name for place in begun.settings.places] == ["Jar", "Roof", "Line"]


async def test_places_set_apart_with_one_answer_come_back_with_one_key(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("i", "enter")
        await hand.pick("foul smell")
        await hand.press("enter")
        await hand.pick("next to it")
        assert len(apart(begun)) > 1
        await hand.press("u")
        assert apart(begun) == []


async def test_with_nothing_of_this_program_left_u_asks_and_leaves_it_unless_told_otherwise(
    begun: Keeper, opened: "Opened"
) -> None:
    async with opened(begun) as hand:
        await hand.press("u")
        assert hand.title == "Undo this?"
        assert "Undo would take back: Roof, Jar, Line visited, 3 entries, recorded 06:40." in hand.told()
        assert [choice[2:] for choice in hand.choices] == ["Leave it", "Undo it"]
        assert "Leave it" in hand.chosen
        await hand.press("enter")
        assert "Nothing was undone." in hand.said
        assert hand.written() == []
        await hand.press("u", "escape")
        assert hand.written() == []
        await hand.press("u")
        await hand.pick("Undo it")
        assert "Undone: Roof, Jar, Line visited." in hand.said
        await hand.press("ctrl+r")
        assert "Redone: Roof, Jar, Line visited." in hand.said


async def test_what_another_program_did_meanwhile_is_asked_about(begun: Keeper, opened: "Opened") -> None:
    other = Keeper(Journal(begun.journal.path), begun.settings, begun.clock, begun.folder)
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d")
        other.pupae.found("X1", "Roof")
        await hand.press("u")
        assert "Undone: A1 seen darkening." in hand.said
        await hand.press("u")
        assert isinstance(hand.app.screen, Pick)
        assert "X1 pupa found in Roof" in hand.told()


async def test_a_place_that_was_changed_elsewhere_is_said_and_left(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.press("i", "z")
        other = Keeper(Journal(begun.journal.path), files.load(begun.folder), begun.clock, begun.folder)
        name = apart(begun)[0]
        other.places.describe(msgspec.structs.replace(other.settings.place(name), capacity=1))
        await hand.press("u")
        assert f"{name} was changed elsewhere since" in hand.seen()
        assert apart(begun) == [name]


async def test_redo_after_something_new_says_why_not(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d", "u", "c", "ctrl+r")
        assert "nothing to redo: something new was done after the last undo" in hand.said
        assert begun.pupa("A1").stage_seen == "clear"


@pytest.mark.parametrize("screen", ["", "t", "b", "i", "g", "y", "p"])
async def test_every_screen_on_which_something_is_done_undoes_and_redoes(
    begun: Keeper, opened: "Opened", screen: str
) -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d", *screen, "u")
        assert begun.pupa("A1").stage_seen == ""
        assert "Undone: A1 seen darkening." in hand.seen()
        await hand.press("ctrl+r")
        assert begun.pupa("A1").stage_seen == "darkening"


async def test_r_still_lets_a_butterfly_fly_where_that_is_its_key(begun: Keeper, opened: "Opened") -> None:
    async with opened(begun) as hand:
        await hand.go_to("A1")
        await hand.press("d", "b", "u", "r")
        assert begun.pupa("A1").stage_seen == ""
        assert "Select a butterfly first" in hand.seen()


async def test_the_demo_begins_with_nothing_to_undo_of_its_own(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo) as hand:
        await hand.press("u")
        assert "Nothing is left to undo since this program was opened." in hand.told()
