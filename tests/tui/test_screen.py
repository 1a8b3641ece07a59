"""What the screen is: readable at every size and without colour, for the mouse as well, and true to the journal."""

import asyncio
import re
import sqlite3
import threading
import time
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from textual.content import Content
from textual.screen import Screen

from pupawatch.care.forecast.records import Outlook
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.times import Span
from pupawatch.tui.forecasting import Forecasting
from pupawatch.tui.screens.round import RoundScreen
from pupawatch.tui.widgets import shelf
from pupawatch.tui.widgets.shelf import Row

if TYPE_CHECKING:
    from conftest import Opened

SIZES = [(80, 24), (100, 30), (120, 40), (200, 60)]


@pytest.mark.parametrize("size", SIZES)
async def test_headline_keys_and_what_to_rescue_are_whole_at_every_size(
    demo: Keeper, opened: "Opened", size: tuple[int, int]
) -> None:
    async with opened(demo, size, forecasts=True) as hand:
        assert await hand.decided()
        lines = hand.seen().splitlines()
        assert "2 to rescue" in lines[0]
        assert "11 to visit" in lines[0]
        assert "Visited" in lines[-1]
        assert "Help" in lines[-1]
        assert max(len(line) for line in lines) <= size[0]
        assert hand.shelf.max_scroll_x == 0
        rescues = [line for line in lines if "► RESCUE" in line][:2]
        assert ["M41" in rescues[0], "M23" in rescues[1]] == [True, True]
        assert "Porch cage side" in rescues[0]
        assert "Emergence chamber" in rescues[1]


async def test_a_flag_is_seen_however_long_the_line_is(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (80, 90)) as hand:
        flagged = [row.standing.pupa.label for row in hand.shelf.rows if row.standing and row.standing.flags]
        assert len(flagged) >= 2
        shelf = [line.split() for line in hand.seen().splitlines() if len(line.split()) > 4]
        for label in flagged:
            (words,) = (words for words in shelf if words[2].rstrip("!") == label)
            assert "!" in "".join(words[2:4]), label


async def test_without_colour_every_verdict_stays_a_sign_and_a_word(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    demo.adults.check_health("M15", ["patches"])
    async with opened(demo, (120, 90)) as hand:
        seen = hand.seen()
        for advice in demo.settings.care.advice.values():
            assert f"{advice.sign} {advice.word}" in seen


async def test_without_colour_the_cursor_is_still_to_be_seen(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened(demo) as hand:
        at, behind = hand.shelf.highlighted, backgrounds(hand.app.export_screenshot())
        assert at is not None
        line = at + hand.shelf.region.y
        brighter, darker = sorted((behind[line], behind[line + 1]), reverse=True)
        assert (brighter + 0.05) / (darker + 0.05) >= 1.5  # of the 3 that WCAG 2.1, 1.4.11 asks for; bold does the rest


def backgrounds(svg: str) -> dict[int, float]:
    """How bright each line of a picture of a terminal is behind its text: relative luminance, 0 to 1, of a grey."""
    cells = re.findall(r'<rect fill="#(..)...." x="[\d.]+" y="([\d.]+)" width="([\d.]+)"', svg)
    widest = sorted(cells, key=lambda cell: float(cell[2]))
    return {int(float(y) // 24.4): (int(grey, 16) / 255) ** 2.2 for grey, y, _ in widest}


async def test_what_to_rescue_is_readable_in_every_kind_of_theme(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo) as hand:
        for theme in ("textual-dark", "textual-light", "ansi-dark", "ansi-light"):
            hand.app.theme = theme
            await hand.pilot.pause()
            words = [
                segment.style
                for line in range(1, 3)
                for segment in hand.shelf.render_line(line)
                if "RESCUE" in segment.text and segment.style
            ]
            assert len(words) == 2, theme
            assert [style for style in words if style.color == style.bgcolor] == [], theme


async def test_an_entry_of_another_program_appears_by_itself(small: Keeper, opened: "Opened") -> None:
    other = Keeper(Journal(small.journal.path), small.settings, small.clock)
    async with opened(small) as hand:
        other.pupae.found("Z9", "Line")
        assert await hand.until(lambda: "Z9" in hand.labels)
        assert "Z9" in hand.seen()


async def test_an_entry_of_another_program_leaves_the_cursor_and_an_open_form_alone(
    small: Keeper, opened: "Opened"
) -> None:
    other = Keeper(Journal(small.journal.path), small.settings, small.clock)
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("a")
        await hand.type("half a note")
        other.pupae.found("A0", "Roof")
        assert await hand.until(lambda: "A0" in hand.labels)
        assert hand.here == "B1"
        assert "half a note" in hand.seen()
        await hand.press("enter")
        assert small.pupa("B1").notes == ["half a note"]


async def test_forecasts_asked_for_while_one_is_at_work_leave_the_program_running(
    demo: Keeper, opened: "Opened"
) -> None:
    async with opened(demo, forecasts=True) as hand:
        screen = hand.app.screen
        assert isinstance(screen, RoundScreen)
        for _ in range(4):
            screen.forecast()
            await asyncio.sleep(0.02)
        assert await hand.until(lambda: screen.ahead is not None, seconds=30)
        assert hand.app.is_running


async def test_a_forecast_that_comes_while_the_program_is_being_left_is_quiet(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    at_work = threading.Event()
    screens: list[Screen[object]] = []

    def ask(*_: object) -> tuple[dict[str, Outlook], list[str]]:
        at_work.set()
        for _turn in range(10_000):
            if screens and not screens[0].query("#headline"):
                break
            time.sleep(0.0005)
        return {}, []

    monkeypatch.setattr(Forecasting, "ask", ask)
    async with opened(small, forecasts=True) as hand:
        assert await hand.until(at_work.is_set)
        screens.append(hand.app.screen)
        await hand.pilot.press("q")
    assert hand.app.return_code == 0


async def test_a_click_selects_a_row(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Line")
        line = next(
            index for index, row in enumerate(hand.shelf.rows) if row.standing and row.standing.pupa.label == "A3"
        )
        await hand.pilot.click("#shelf", offset=(12, line))
        assert hand.here == "A3"
        assert hand.written() == []


async def test_a_click_on_the_key_line_does_what_the_key_does(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        line = hand.seen().splitlines()[-1]
        await hand.pilot.click("#keys", offset=(line.index("Dark") + 1, 0))
        await hand.pilot.pause()
        assert small.pupa("A1").stage_seen == "darkening"


async def test_a_journal_that_breaks_while_it_is_open_is_said_in_words(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        with sqlite3.connect(small.journal.path) as vandal:
            vandal.execute("DROP TABLE entry")
        await hand.press("d")
        assert "cannot be used" in hand.said
        assert hand.app.is_running


async def test_after_another_file_came_in_its_place_nothing_is_said_to_be_written_that_is_not(
    small: Keeper, opened: "Opened"
) -> None:
    path = small.journal.path
    copy = small.journal.copy_to(path.with_name("copy.db"))
    async with opened(small) as hand:
        await hand.go_to("A1")
        for part in path.parent.glob(f"{path.name}-*"):
            part.unlink()
        copy.replace(path)
        await hand.press("d")
        assert "was replaced" in hand.said
        assert "✓" not in hand.said
        assert hand.app.is_running
        assert Keeper(Journal(path), small.settings, small.clock).pupa("A1").stage_seen == ""


async def test_of_a_long_shelf_only_the_lines_in_view_are_put_into_words(
    small: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    formed = Span(*(small.clock() - timedelta(hours=hours) for hours in (132, 120)))
    for number in range(200):
        small.pupae.found(f"N{number}", "Roof", when=formed)
    worded: list[Row] = []

    def counting(row: Row, *rest: Any, **named: Any) -> Content:
        worded.append(row)
        return words(row, *rest, **named)

    words = shelf._content
    monkeypatch.setattr(shelf, "_content", counting)
    async with opened(small) as hand:
        assert len(hand.labels) == 205
        assert 0 < len({row.key for row in worded}) < 50
        await hand.press("end")
        assert hand.here in hand.seen()


async def test_heat_stands_at_its_place_as_long_as_it_lasts(small: Keeper, opened: "Opened") -> None:
    """79 % of the adults scored at a constant 34 °C had deformed wings: Ragonese et al., experiment 2019."""
    small.temperatures.measured("Jar", 30, 36, small.clock().date())
    async with opened(small, forecasts=True) as hand:
        assert await hand.until(lambda: "1 temperature warning" in hand.seen())
        assert "Jar: has had a daily mean of 33 °C" in hand.said
        await hand.press("d")
        assert "Jar: has had" not in hand.said
        await hand.go_to("Jar")
        assert "Jar · ► temperature" in hand.seen()
        assert "carry the whole cage to a cooler room" in " ".join(hand.told().split())
