"""A whole round takes few keys: at most 60 over 8 places and 40 pupae, one darkened, one moved, one new."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pytest

from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Found, Looked, Moved, Seen
from pupawatch.model.settings import Place, Settings
from pupawatch.model.times import Span

if TYPE_CHECKING:
    from conftest import Hand, Opened

MOST_KEYS = 60
NOW = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)
PLACES = [f"Cage {number}" for number in range(1, 8)] + ["Jar"]
DARKENED, TO_MOVE, NEW_IN = "C12", "J3", "Cage 6"


@pytest.fixture
def forty(tmp_path: Path, shipped: Settings) -> Keeper:
    """Eight places with five firm pupae each; the last place, a jar, cannot be climbed."""
    places = [Place(name=name, surface="glass" if name == "Jar" else "mesh", capacity=8) for name in PLACES]
    keeper = Keeper(
        Journal(tmp_path / "journal.db"), msgspec.structs.replace(shipped, places=places), lambda: NOW, tmp_path
    )
    formed = Span(NOW - timedelta(days=6), NOW - timedelta(days=5))
    for number in range(35):
        keeper.pupae.found(f"C{number + 1}", PLACES[number // 5], when=formed)
    for number in range(5):
        keeper.pupae.found(f"J{number + 1}", "Jar", when=formed)
    keeper.places.looked(when=Span(NOW - timedelta(hours=12), NOW - timedelta(hours=12)))
    return keeper


def assert_round_is_written(hand: "Hand", keeper: Keeper) -> None:
    entries = hand.written()
    assert Counter(type(entry) for entry in entries) == {Looked: 8, Seen: 1, Moved: 1, Found: 1}
    assert {entry.place for entry in entries if isinstance(entry, Looked)} == set(PLACES)
    assert keeper.pupa(DARKENED).stage_seen == "darkening"
    assert keeper.pupa(TO_MOVE).place != "Jar"
    (new,) = (entry for entry in entries if isinstance(entry, Found))
    assert new.place == NEW_IN
    assert new.since == NOW - timedelta(hours=12)
    assert "every place visited" in hand.seen()


async def walk(hand: "Hand", look_at_each: bool) -> None:
    """Do the round as a keeper would, by what stands on the screen."""
    for place in PLACES:
        assert hand.here == place or hand.app.keeper.pupa(hand.here).place == place
        if place == NEW_IN:
            await hand.press("n", "enter")
            await hand.go_to(place)  # wherever the form left the cursor: the keys below lead down from the heading
        if place == "Cage 3":
            await go_down(hand, DARKENED)
            await hand.press("d")
        if place == "Jar":
            await go_down(hand, TO_MOVE)
            await hand.press("m", "enter")
        if look_at_each:
            await go_down(hand, lowest_in(hand, place))
        await hand.press("space")


def lowest_in(hand: "Hand", place: str) -> str:
    """The label of the last pupa in this place."""
    inside = [row for row in hand.shelf.rows if row.standing and row.standing.pupa.place == place]
    assert inside[-1].standing
    return inside[-1].standing.pupa.label


async def go_down(hand: "Hand", label: str) -> None:
    """Press the down key until this pupa is under the cursor."""
    rows = [row.standing.pupa.label if row.standing else "" for row in hand.shelf.rows]
    assert hand.shelf.highlighted is not None
    steps = rows.index(label) - hand.shelf.highlighted
    assert steps >= 0
    await hand.press(*["down"] * steps)
    assert hand.here == label


@pytest.mark.parametrize("look_at_each", [False, True])
async def test_a_round_takes_at_most_60_keys_from_start_to_end(
    forty: Keeper, opened: "Opened", look_at_each: bool
) -> None:
    async with opened(forty) as hand:
        await walk(hand, look_at_each)
        assert_round_is_written(hand, forty)
        assert hand.pressed <= MOST_KEYS
        print(f"{hand.pressed} keys")
