"""A second round a day, and a screen that is right again at once after midnight or a suspend."""

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from pupawatch.keeper import Keeper

if TYPE_CHECKING:
    from conftest import Opened

MORNING = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)


def twice_a_day(keeper: Keeper) -> None:
    care = msgspec.structs.replace(keeper.settings.care, evening_round_starts_hour=16)
    keeper.settings = msgspec.structs.replace(keeper.settings, care=care)


async def test_the_evening_round_is_visited_and_moves_on_like_the_first(small: Keeper, opened: "Opened") -> None:
    twice_a_day(small)
    small.places.looked(when=None)
    small.clock = lambda: MORNING + timedelta(hours=9)  # 15:40: the morning's round still counts
    async with opened(small) as hand:
        assert "every place visited" in hand.seen()
    small.clock = lambda: MORNING + timedelta(hours=10)  # 16:40
    async with opened(small) as hand:
        assert "3 to visit: Roof" in hand.seen()
        await hand.go_to("Roof")
        await hand.press("space")
        assert hand.here == "Jar"
        await hand.press("space", "space")
        assert "every place visited" in hand.seen()
    small.clock = lambda: MORNING + timedelta(days=1)
    async with opened(small) as hand:
        assert "3 to visit: Roof" in hand.seen()


async def test_one_round_a_day_is_the_default(small: Keeper, opened: "Opened") -> None:
    small.places.looked(when=None)
    small.clock = lambda: MORNING + timedelta(hours=15)
    async with opened(small) as hand:
        assert "every place visited" in hand.seen()


async def test_after_a_suspend_the_screen_is_right_within_five_seconds(small: Keeper, opened: "Opened") -> None:
    small.places.looked(when=None)
    now = [MORNING]
    small.clock = lambda: now[0]
    async with opened(small, (120, 40)) as hand:
        assert "every place visited" in hand.seen()
        await hand.go_to("A2")
        before = hand.seen()
        assert "10–14 h" in before
        now[0] = MORNING + timedelta(hours=30)
        assert await hand.until(lambda: "40–44 h" in hand.seen(), seconds=5)
        assert "3 to visit" in hand.seen()
