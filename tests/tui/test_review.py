"""The review as a screen: the first picture at once, the rest from a thread, every question by a key, the report."""

from collections.abc import Callable
from itertools import takewhile
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len

from pupawatch.keeper import Keeper
from pupawatch.review.factors import FACTORS
from pupawatch.tui.screens.review import ReviewScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened


async def review_of(hand: "Hand") -> ReviewScreen:
    await hand.press("S")
    screen = hand.app.screen
    assert isinstance(screen, ReviewScreen)
    assert await hand.until(lambda: bool(screen.lines), 5)  # drawn once its width is known
    return screen


def has(hand: "Hand", words: str) -> Callable[[], bool]:
    return lambda: words in hand.told()


async def test_each_question_is_one_key_on_and_the_answer_is_the_one_asked_for(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (100, 40)) as hand:
        screen = await review_of(hand)
        assert await hand.until(lambda: "Working out the rest" not in hand.told(), 60)
        seen = []
        for factor in FACTORS:
            assert screen.by == factor
            assert factor in hand.told()
            seen.append(hand.told())
            await hand.press("right")
        assert len(set(seen)) == len(FACTORS)
        await hand.press("left")
        assert screen.by == [*FACTORS][-1]


async def test_a_question_is_crossed_with_moved_by_a_key_and_back(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (100, 40)) as hand:
        screen = await review_of(hand)
        await hand.press("x")
        assert screen.by == "site,moved"
        assert await hand.until(lambda: "Working out the rest" not in hand.told(), 60)
        assert "moved" in hand.told()
        await hand.press("x")
        assert screen.by == "site"


async def test_the_page_scrolls_and_esc_goes_back(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo) as hand:
        screen = await review_of(hand)
        page = screen.query_one("#page")
        assert await hand.until(lambda: "IN WORDS" in screen.lines and page.max_scroll_y > 0, 60)
        await hand.press("pagedown")
        assert page.scroll_y > 0
        await hand.press("pageup")
        assert page.scroll_y == 0
        await hand.press("escape")
        assert not hand.in_front


async def test_the_report_is_written_beside_the_journal(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (100, 40)) as hand:
        await review_of(hand)
        await hand.press("R")
        assert await hand.until(has(hand, "The report is in"), 60)
    (page,) = demo.path.parent.glob("review-site-*.html")
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


async def test_the_score_of_the_forecasts_is_one_of_the_questions(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        screen = await review_of(hand)
        await hand.press("left")
        assert screen.by == "forecast score"
        assert await hand.until(has(hand, "Nothing to score yet"), 60)
        await hand.press("R", "x")  # it has no report and is crossed with nothing
        assert screen.by == "forecast score"


async def test_what_fails_beside_the_screen_leaves_the_first_picture_and_says_so(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("no room to reckon")

    monkeypatch.setattr("pupawatch.review.page.page", broken)
    async with opened(demo, (100, 40)) as hand:
        await review_of(hand)
        assert await hand.until(has(hand, "could not be worked out"), 30)
        assert "SUCCESS" in hand.told()


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (100, 30), (200, 60)], ids=str)
async def test_the_first_picture_is_as_wide_as_its_page(demo: Keeper, opened: "Opened", size: tuple[int, int]) -> None:
    """None of the lines of the picture is broken, before the rest is worked out and after it; prose may be."""
    async with opened(demo, size) as hand:
        screen = await review_of(hand)
        room = screen.query_one("#page").scrollable_content_region.width
        picture = list(takewhile(str.strip, screen.lines[screen.lines.index("SUCCESS") :]))
        assert len(picture) > 5
        assert max(cell_len(line) for line in picture if not line.startswith(("- ", "  "))) <= room
