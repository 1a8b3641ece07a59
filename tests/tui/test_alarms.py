"""What must not be missed stands on the screen, and the screen keeps what was last known."""

from typing import TYPE_CHECKING

import pytest

from pupawatch.errors import Damaged
from pupawatch.keeper import Keeper

if TYPE_CHECKING:
    from conftest import Hand, Opened


def alarms(hand: "Hand") -> str:
    """All that stands on the screen as an alarm."""
    return "\n".join(notice.message for notice in hand.app._notifications)


async def test_a_failed_read_leaves_the_shelf_and_stands_as_an_alarm_once(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(small) as hand:
        before = hand.labels

        def fails() -> bool:
            raise Damaged("Entry 1 of the journal is damaged; run `pupawatch check`.")

        monkeypatch.setattr(small, "refresh", fails)
        assert await hand.until(lambda: "is damaged" in alarms(hand))
        assert "last known" in alarms(hand)
        assert hand.labels == before
        await hand.pilot.pause(3)  # polls once more
        assert alarms(hand).count("is damaged") == 1


async def test_entries_of_a_newer_version_are_told_when_the_dashboard_opens(small: Keeper, opened: "Opened") -> None:
    small.journal.newer.add("some-entry")
    async with opened(small) as hand:
        assert await hand.until(lambda: "newer pupawatch" in alarms(hand))
