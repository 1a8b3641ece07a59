"""What is worked out beside the screen: an error there is told and stays told, and ends nothing."""

from typing import TYPE_CHECKING, Any, NoReturn

import pytest
from textual.widgets import Static

from pupawatch.errors import Unusable
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.desk import Desk
from pupawatch.tui.app import Dashboard
from pupawatch.tui.forecasting import Forecasting
from pupawatch.tui.screens.move_log import MoveLogScreen
from pupawatch.tui.screens.plan import PlanScreen
from pupawatch.tui.screens.review import ReviewScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened, WordsOf

LAST_STATE = "The screen shows the last known state; what you record is kept."


def broken(*_: Any, **__: Any) -> NoReturn:
    raise ZeroDivisionError("division by [zero]\x1b[31m")


def notices(hand: "Hand") -> list[str]:
    """What stands on the screen until it is clicked away."""
    return [note.message for note in hand.app._notifications if note.timeout >= 3600]


async def test_a_forecast_that_breaks_is_told_once_and_the_round_goes_on(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Forecasting, "_answer", broken)
    async with opened(small, (100, 30), forecasts=True) as hand:
        assert await hand.until(lambda: bool(notices(hand)))
        (told,) = notices(hand)
        assert told.startswith(
            "Unexpected error while working out the forecasts (ZeroDivisionError: division by [zero]"
        )
        assert LAST_STATE in told
        assert "Leave pupawatch and open it again; if it comes again, run `pupawatch check`." in told
        assert "\x1b" not in told
        await hand.go_to("A1")
        await hand.press("d")
        assert hand.kinds() == ["seen"]
        hand.app.screen.forecast()  # type: ignore[attr-defined]
        await hand.app.workers.wait_for_complete()
        await hand.pilot.pause()
        assert len(notices(hand)) == 1
        await hand.press("escape")
        assert notices(hand) == []


async def test_the_notice_is_read_on_the_smallest_screen(
    small: Keeper, words_of: "WordsOf", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Forecasting, "_answer", broken)
    app = Dashboard(small)
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        app.screen.forecast()  # type: ignore[attr-defined]
        await app.workers.wait_for_complete()
        await pilot.pause(0.5)
        beside = [line.split("▌")[1].strip() for line in words_of(app.export_screenshot()) if "▌" in line]
        told = " ".join(beside)
        assert "Unexpected error while working out the forecasts (ZeroDivisionError: " in told
        assert "esc on the round hides this." in told
        await pilot.press("escape")
        await pilot.pause(0.5)
        assert "Unexpected" not in " ".join(words_of(app.export_screenshot()))


async def test_forecasts_that_were_there_stay_where_the_next_ones_break(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(demo, forecasts=True) as hand:
        screen: Any = hand.app.screen
        assert await hand.until(lambda: screen.ahead is not None, 60)
        before = screen.ahead
        monkeypatch.setattr(Forecasting, "_answer", broken)
        screen.forecast()
        assert await hand.until(lambda: bool(notices(hand)))
        assert screen.ahead is before


async def test_what_comes_and_breaks_the_screen_is_told_as_well(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pupawatch.tui.screens.shelf_screen.ShelfScreen._forecast_came", broken)
    async with opened(small, forecasts=True) as hand:
        assert await hand.until(lambda: bool(notices(hand)))
        assert "while working out the forecasts" in notices(hand)[0]
        await hand.press("j")


async def test_a_plan_that_breaks_says_so_and_keeps_the_one_before(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(demo) as hand:
        await hand.press("g")
        screen = hand.app.screen
        assert isinstance(screen, PlanScreen)
        assert await hand.until(lambda: screen.plan is not None)
        before, lines = screen.plan, len(screen.listed)
        with monkeypatch.context() as breaking:
            breaking.setattr("pupawatch.keeper.advice.decided", broken)
            screen.refill()
            assert await hand.until(lambda: screen.failed)
        await hand.pilot.pause()
        assert "Unexpected error while working out the plan (ZeroDivisionError" in notices(hand)[0]
        assert screen.headline() == "Plan: could not be worked out; this is an older one"
        assert (screen.plan, len(screen.listed)) == (before, lines)
        screen.refill()
        assert await hand.until(lambda: not screen.failed)
        assert "fewer bad emergences" in screen.headline()


async def test_a_first_plan_that_breaks_does_not_seem_to_come(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pupawatch.keeper.advice.decided", broken)
    async with opened(demo) as hand:
        await hand.press("g")
        assert await hand.until(lambda: "could not be worked out" in hand.seen())
        await hand.press("escape")
        assert not hand.in_front


async def test_moves_that_cannot_be_read_are_told(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(demo, (100, 30)) as hand:
        monkeypatch.setattr(Desk, "whole_state", broken)
        await hand.press("y")
        screen = hand.app.screen
        assert isinstance(screen, MoveLogScreen)
        assert await hand.until(lambda: screen.failed)
        await hand.pilot.pause()
        assert "while reading the moves" in notices(hand)[0]
        assert "could not be read" in hand.seen()


async def test_a_review_that_breaks_keeps_its_first_picture(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pupawatch.review.page.page", broken)
    async with opened(demo, (100, 30)) as hand:
        await hand.press("S")
        screen = hand.app.screen
        assert isinstance(screen, ReviewScreen)

        def lines() -> str:
            return str(screen.query_one("#lines", Static).content)

        assert await hand.until(lambda: "The rest could not be worked out." in lines())
        assert lines().startswith("SUCCESS")
        assert "while working out the review" in notices(hand)[0]
        await hand.press("R")
        assert await hand.until(lambda: len(notices(hand)) == 2)
        assert "while writing the report" in notices(hand)[1]
        assert lines().count("could not be worked out") == 1


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (Unusable("The journal is damaged; run `pupawatch check`."), "The journal is damaged; run `pupawatch check`."),
        (OSError(5, "Input/output error"), "Unexpected error while looking for damage in the journal (OSError: "),
    ],
)
async def test_a_look_for_damage_that_breaks_is_told(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch, error: Exception, told: str
) -> None:
    def fails(_: Journal) -> NoReturn:
        raise error

    monkeypatch.setattr(Journal, "verify", fails)
    async with opened(small) as hand:
        hand.app.look_for_damage()
        assert await hand.until(lambda: bool(notices(hand)))
        assert notices(hand)[0].startswith(told)
        await hand.press("j")
