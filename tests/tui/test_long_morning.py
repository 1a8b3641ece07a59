"""A long morning, with all that can come together in one, in at most 120 keys."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pytest

from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.settings import Place, Settings
from pupawatch.model.times import Span
from pupawatch.tui.screens.plan import PlanScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened

MOST_KEYS = 120
NOW = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)
HOUR = timedelta(hours=1)
PLACES = [f"Cage {number}" for number in range(1, 8)] + ["Jar"]
FALLEN, DARK, CLEAR = ("C1", "C7"), ("C12", "C17", "C22"), ("C13", "C23")
REFUSED, MOVED, PREPUPA, OUT, EMPTY = "C28", "J1", "C29", "C30", "C33"


@pytest.fixture
def long(tmp_path: Path, shipped: Settings) -> Keeper:
    """Eight places, forty pupae; three in a jar that cannot be climbed, and a butterfly of three days ago."""
    places = [Place(name=name, surface="glass" if name == "Jar" else "mesh", capacity=9) for name in PLACES]
    settings = msgspec.structs.replace(shipped, places=places)
    keeper = Keeper(Journal(tmp_path / "journal.db"), settings, lambda: NOW, tmp_path)
    old, young = Span(NOW - 260 * HOUR, NOW - 250 * HOUR), Span(NOW - 14 * HOUR, NOW - 10 * HOUR)
    for number in range(1, 36):
        label, place = f"C{number}", PLACES[(number - 1) // 5]
        if label == PREPUPA:
            keeper.pupae.found(label, place, when=Span(NOW - 12 * HOUR, NOW - 12 * HOUR), prepupa=True)
        else:
            keeper.pupae.found(label, place, when=young if label == REFUSED else old)
    for number in range(1, 5):
        keeper.pupae.found(f"J{number}", "Jar", when=old)
    keeper.pupae.found("B1", "Cage 1", when=Span(NOW - 400 * HOUR, NOW - 390 * HOUR))
    keeper.pupae.emerged("B1", when=Span(NOW - 80 * HOUR, NOW - 72 * HOUR))
    keeper.pupae.wings("B1", "sound", when=Span(NOW - 60 * HOUR, NOW - 60 * HOUR))
    keeper.places.looked(when=Span(NOW - 12 * HOUR, NOW - 12 * HOUR))
    return keeper


async def down_to(hand: "Hand", label: str) -> None:
    """Down, line by line, or up where it lies above."""
    rows = [row.standing.pupa.label if row.standing else "" for row in hand.shelf.rows]
    assert hand.shelf.highlighted is not None
    steps = rows.index(label) - hand.shelf.highlighted
    await hand.press(*["down" if steps > 0 else "up"] * abs(steps))
    assert hand.here == label


async def type_in(hand: "Hand", text: str) -> None:
    """Type a text, each letter a key."""
    await hand.type(text)
    hand.pressed += len(text)


async def test_a_long_morning_takes_at_most_120_keys(long: Keeper, opened: "Opened", tmp_path: Path) -> None:
    async with opened(long) as hand:
        await down_to(hand, "C1")
        await hand.press("f", "m", "enter")  # the first rescue
        await hand.press("space")
        await walk_the_places(hand)
        assert "every place visited" in hand.seen()
        await wings(hand)
        await a_new_place_and_a_pupa_in_it(hand)
        await plan_review_and_butterflies(hand, tmp_path)
        print(f"{hand.pressed} keys")
        assert hand.pressed <= MOST_KEYS
    assert_all_is_written(hand)


async def walk_the_places(hand: "Hand") -> None:
    acts = {
        "C7": ("f", "m", "enter"),
        **dict.fromkeys(DARK, ("d",)),
        **dict.fromkeys(CLEAR, ("c",)),
        REFUSED: ("m", "escape"),
        PREPUPA: ("o",),
        OUT: ("e",),
        EMPTY: ("x", "1"),
        MOVED: ("m", "enter"),
    }
    for place in PLACES[1:]:
        assert hand.here == place
        inside = [
            row.standing.pupa.label for row in hand.shelf.rows if row.standing and row.standing.pupa.place == place
        ]
        for label in [label for label in acts if label in inside]:
            await down_to(hand, label)
            await hand.press(*acts[label])
        await hand.press("space")


async def wings(hand: "Hand") -> None:
    """The one that came out has crumpled wings: judged in the watch."""
    await hand.press("t", "W")
    await hand.pick("crumpled")
    await hand.press("escape")


async def a_new_place_and_a_pupa_in_it(hand: "Hand") -> None:
    await hand.press("p", "N")
    await type_in(hand, "Shelf")
    await hand.press("enter", "escape", "n", "tab")
    await type_in(hand, "Shelf")
    await hand.press("enter")


async def plan_review_and_butterflies(hand: "Hand", tmp_path: Path) -> None:
    await hand.press("g")
    screen = hand.app.screen
    assert isinstance(screen, PlanScreen)
    for _ in range(2):
        before = screen.plan
        assert await hand.until(lambda: screen.plan is not None, 30)
        await hand.pilot.pause()
        before = screen.plan
        await hand.press("D", "enter")
        assert await hand.until(lambda before=before: screen.plan is not before, 30)  # type: ignore[misc]
        await hand.pilot.pause()
    await hand.press("escape", "S", "escape", "b", "tab")
    await hand.press("M")
    await type_in(hand, "k1")
    await hand.press("tab", "f", "enter", "r", "enter", "p", "up")
    await hand.type(str(tmp_path / "sheet.csv"))  # a file name is proposed; the test names its own folder
    await hand.press("enter")
    assert (tmp_path / "sheet.csv").exists()


def assert_all_is_written(hand: "Hand") -> None:
    kinds, keeper = Counter(hand.kinds()), hand.app.keeper
    assert kinds["fell"] == 2
    assert [keeper.pupa(label).stage_seen for label in (*DARK, *CLEAR)] == ["darkening"] * 3 + ["clear"] * 2
    assert keeper.pupa(REFUSED).relocations == []
    assert (kinds["looked"], kinds["lost"], kinds["emerged"], kinds["wings"], kinds["found"]) == (8, 1, 1, 1, 2)
    assert kinds["moved"] == 5  # two rescues, one of the round, two of the plan
    assert (kinds["marked"], kinds["released"]) == (1, 1)
