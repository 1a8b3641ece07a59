"""Cautions where the hand acts, on the screens: each act that can hurt somebody or break a law shows how, before it is
recorded. What is dangerous is told in tests/cli/test_cautions.py.
"""

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from pupawatch.keeper import Keeper
from pupawatch.model.times import Span

if TYPE_CHECKING:
    from conftest import Hand, Opened

WIDE = (120, 60)


async def found(hand: "Hand") -> None:
    await hand.press("n")


async def moved(hand: "Hand") -> None:
    await hand.go_to("B1")
    await hand.press("m")


async def fallen(hand: "Hand") -> None:
    await hand.go_to("A1")
    await hand.press("f")


async def too_soft(hand: "Hand") -> None:
    await hand.go_to("A2")
    await hand.press("m")


async def marked(hand: "Hand") -> None:
    await hand.press("b", "M")


async def released(hand: "Hand") -> None:
    await hand.press("b", "r")


async def cleaned(hand: "Hand") -> None:
    await hand.press("i", "down", "c")


async def checked(hand: "Hand") -> None:
    await hand.go_to("A1")
    await hand.press("i", "i")


DOORS = {
    "found": (found, ("permit", "latex")),
    "move": (moved, ("latex",)),
    "fell": (fallen, ("Lift by silk",)),
    "move of a soft one": (too_soft, ("what leaks out is lost",)),
    "mark": (marked, ("permit", "flat between two fingers")),
    "release": (released, ("permit", "flat between two fingers")),
    "cleaned": (cleaned, ("never with acid or ammonia",)),
    "health check": (checked, ("not a diagnosis",)),
}  # fmt: skip


@pytest.fixture
def shelf(small: Keeper) -> Keeper:
    """The small shelf, and a butterfly that emerged yesterday morning."""
    morning = small.clock() - timedelta(hours=25)
    small.pupae.emerged("A3", when=Span(morning, morning))
    return small


@pytest.mark.parametrize("door", DOORS)
async def test_the_caution_stands_before_the_act(shelf: Keeper, opened: "Opened", door: str) -> None:
    go, words = DOORS[door]
    async with opened(shelf, WIDE) as hand:
        before = len(hand.written())
        await go(hand)
        told = " ".join(hand.told().split())
        for caution in words:
            assert caution in told, told
        assert "! " in told or door == "health check"
        assert len(hand.written()) == before or door == "fell"


@pytest.mark.parametrize("method", ["silk", "tie", "whole", "glue", "prop"])
async def test_each_method_shows_its_cautions_before_the_move(shelf: Keeper, opened: "Opened", method: str) -> None:
    cautions = shelf.settings.care.methods[method].cautions
    assert any(word in " ".join(cautions) for word in ("latex", "sap"))
    async with opened(shelf, WIDE) as hand:
        await moved(hand)
        for _ in shelf.settings.care.methods:
            if shelf.settings.care.methods[method].words in " ".join(hand.told().split()):
                break
            await hand.press("tab")
        told = " ".join(hand.told().split())
        for caution in cautions:
            assert caution in told
