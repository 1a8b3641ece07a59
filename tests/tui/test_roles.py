"""Six screens as text with the role of every piece: in two themes, without colour, in a terminal's own colours, by key
and by mouse, in four sizes. Not bytes of a picture, which change with every release of Textual.

``PUPAWATCH_STORE=1 pytest tests/tui/test_roles.py`` stores them anew after a change that was meant.
"""

import os
from collections.abc import AsyncIterator, Callable
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from rich.segment import Segment

from pupawatch.keeper import Keeper
from pupawatch.tui.look import DUSK, NOON, THEMES, variables
from pupawatch.tui.widgets.lines import Lines

if TYPE_CHECKING:
    from conftest import Hand, Opened

SCREENS = {"round": "", "plan": "g", "watch": "t", "adults": "b", "places": "p", "review": "S"}
SIZES = ((48, 20), (80, 24), (120, 40), (200, 60))
STORED = Path(__file__).parent / "screens"
Role = Callable[[Segment], str]


def roles_of(theme_name: str) -> Role:
    """Names what a piece of text is drawn as in a theme: its colour, its ground, and whether it is bold."""
    theme = next(theme for theme in THEMES if theme.name == theme_name)
    painted = variables(theme, no_color=False)
    named = {"text": theme.foreground, "muted": painted["text-muted"], "wait": painted["advice-wait"]}
    named |= {name: painted[f"advice-{name}"] for name in ("sick", "leave", "soon", "care", "free", "seal")}
    named |= {"line": theme.variables["line"], "ground": theme.background}
    grounds = {"": theme.background, "panel": theme.panel, "selected": theme.variables["selected"]}
    grounds |= {"rescue": painted["advice-rescue"], "line": theme.variables["line"], "text": theme.foreground}
    fronts, backs = ({colour: name for name, colour in all_.items()} for all_ in (named, grounds))

    def role(segment: Segment) -> str:
        style = segment.style
        assert style is not None
        assert style.color is not None
        assert style.bgcolor is not None
        front, back = (one.get_truecolor().hex.lower() for one in (style.color, style.bgcolor))
        told = [fronts.get(front, front), f"on {backs.get(back, back)}", "bold" if style.bold else ""]
        return " ".join(part for part in told if part not in ("", "text", "on "))

    return role


async def each(hand: "Hand") -> AsyncIterator[str]:
    """Bring each screen to the front in turn, and wait until it stands."""
    assert await hand.decided()
    for name, key in SCREENS.items():
        await hand.press(*key)
        await stands(hand)
        yield name
        if key:
            await hand.press("escape")


async def stands(hand: "Hand") -> None:
    """Wait until nothing is worked out beside the screen any more."""
    workers = hand.app.workers
    assert await hand.until(lambda: not any(worker.is_running for worker in workers), 60)
    await hand.pilot.pause()


def drawn(hand: "Hand", role: Role) -> list[str]:
    """The lines of the screen, each piece with its role before it; blank ones without."""
    lines = []
    for strip in hand.app.screen._compositor.render_strips():
        pieces = [(role(one) if one.text.strip() else "", one.text) for one in strip if not one.control and one.text]
        told = ""
        for name, same in groupby(pieces, lambda piece: piece[0]):
            text = "".join(text for _, text in same)
            told += f"[{name}]{text}[]" if name else text
        lines.append(told.rstrip())
    return lines


@pytest.fixture
def season(demo: Keeper) -> Keeper:
    """The demo, with a folder of settings that is called the same on every computer."""
    demo.folder = Path("settings")
    return demo


def words(hand: "Hand") -> list[str]:
    """The lines of the screen without roles."""
    strips = hand.app.screen._compositor.render_strips()
    return ["".join(one.text for one in strip if not one.control).rstrip() for strip in strips]


def bold(hand: "Hand") -> list[tuple[int, str]]:
    """What is bold, and in which line."""
    strips = enumerate(hand.app.screen._compositor.render_strips())
    return [(y, one.text.strip()) for y, strip in strips for one in strip if one.style and one.style.bold]


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_a_screen_is_as_it_was_stored_and_the_same_in_both_themes(
    season: Keeper, opened: "Opened", size: tuple[int, int]
) -> None:
    dusk, noon = roles_of(DUSK), roles_of(NOON)
    async with opened(season, size, forecasts=True) as hand:
        async for screen in each(hand):
            told = drawn(hand, dusk)
            hand.app.theme = NOON
            await hand.pilot.pause()
            assert drawn(hand, noon) == told, screen
            hand.app.theme = DUSK
            await hand.pilot.pause()
            stored = STORED / f"{screen}-{size[0]}x{size[1]}.txt"
            if os.environ.get("PUPAWATCH_STORE"):
                stored.write_text("\n".join(told) + "\n", encoding="utf-8")
            assert told == stored.read_text(encoding="utf-8").splitlines(), screen


async def test_without_colour_and_in_a_terminals_own_colours_the_words_and_weights_are_the_same(
    season: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    told = []
    for theme, colours in ((DUSK, ""), ("ansi-dark", ""), (DUSK, "none")):
        if colours:
            monkeypatch.setenv("NO_COLOR", "1")
        async with opened(season, (120, 40), forecasts=True) as hand:
            hand.app.theme = theme
            told.append({screen: (words(hand), bold(hand)) async for screen in each(hand)})
    assert told[1] == told[0]
    assert told[2] == told[0]


async def test_a_click_shows_what_the_arrows_show(season: Keeper, opened: "Opened") -> None:
    async with opened(season, (120, 40), forecasts=True) as hand:
        async for screen in each(hand):
            if screen == "review":  # its list is walked by other keys, and has a test of its own
                continue
            listed = hand.app.screen.query_one(Lines)
            first = listed.highlighted or 0
            await hand.press("down", "down")
            second, by_keys = listed.highlighted, words(hand)
            await hand.press("up", "up")
            assert listed.highlighted == first
            assert second is not None
            line = listed._index_to_line[second] - listed.scroll_offset.y
            await hand.pilot.click(Lines, offset=(20, line))
            assert listed.highlighted == second
            assert await hand.until(lambda told=by_keys: words(hand) == told), screen  # type: ignore[misc]
