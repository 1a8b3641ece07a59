"""The look, measured from what is drawn: contrast of every word, distance of the colours, weight without colour.

Contrast: WCAG 2.2, relative luminance and contrast ratio; 4.5:1 is its criterion 1.4.3 (AA), 3:1 that for large text,
here asked of terminals that choose their own colours. Colour vision: Machado, Oliveira and Fernandes 2009, as the
colorspacious library has it, with its distance in CAM02-UCS. xterm's palette: the defaults of its XTerm-col.ad.
"""

import re
from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE
from rich.color import Color
from rich.segment import Segment
from rich.terminal_theme import TerminalTheme

from pupawatch.keeper import Keeper
from pupawatch.tui.look import ANSI, DUSK, NOON, THEMES, variables

if TYPE_CHECKING:
    from conftest import Hand, Opened

RGB = tuple[int, int, int]
XTERM = (
    (0, 0, 0), (205, 0, 0), (0, 205, 0), (205, 205, 0), (0, 0, 238), (205, 0, 205), (0, 205, 205), (229, 229, 229),
    (127, 127, 127), (255, 0, 0), (0, 255, 0), (255, 255, 0), (92, 92, 255), (255, 0, 255), (0, 255, 255),
    (255, 255, 255),
)  # fmt: skip
DARK_TERMINAL = TerminalTheme((0, 0, 0), (229, 229, 229), [*XTERM[:8]], [*XTERM[8:]])
LIGHT_TERMINAL = TerminalTheme((255, 255, 255), (0, 0, 0), [*XTERM[:8]], [*XTERM[8:]])
ADVICE = ("rescue", "leave", "soon", "care", "free", "wait")
SIGHT = ("", "protanomaly", "deuteranomaly", "tritanomaly")
FAR_APART, FAR_APART_UNSEEN = 25, 13
"""Reasoned: a distance in CAM02-UCS of 2 is just seen; two words of one list should differ by far more."""
SCREENS = {
    "round": [],
    "story": ["enter"],
    "help": ["question_mark"],
    "move": ["m"],
    "new": ["n"],
    "danger": ["F"],
    "watch": ["t"],
    "adults": ["b"],
    "mark": ["b", "tab", "M"],
    "health": ["i"],
    "check": ["i", "enter"],
    "plan": ["g"],
    "moves": ["y"],
    "places": ["p"],
    "place": ["p", "enter"],
    "review": ["S"],
    "search": ["slash", "M"],
    "refused": ["A", "w"],
    "palette": ["ctrl+p"],
}
_FRAME = re.compile(r"[\s─-▟]*")


class Word(NamedTuple):
    """A piece of text as it is drawn."""

    text: str
    front: RGB
    back: RGB
    bold: bool
    dim: bool


def luminance(colour: RGB) -> float:
    """Relative luminance (WCAG 2.2)."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (p / 255 for p in colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: RGB, other: RGB) -> float:
    """Contrast ratio (WCAG 2.2)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_contrasts_of_the_standard() -> None:
    """WCAG 2.2: black on white is 21:1. #767676 is the lightest grey with 4.5:1 on white (WebAIM)."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


def _drawn(segment: Segment, terminal: TerminalTheme) -> Word:
    style = segment.style

    def of(colour: Color | None, front: bool) -> RGB:
        told = colour or Color.default()
        return tuple(told.get_truecolor(terminal, foreground=front))  # type: ignore[return-value]

    front = of(style.color if style else None, True)
    back = of(style.bgcolor if style else None, False)
    if style and style.reverse:
        front, back = back, front
    return Word(segment.text.strip(), front, back, bool(style and style.bold), bool(style and style.dim))


def words(hand: "Hand", terminal: TerminalTheme = DARK_TERMINAL) -> Iterator[Word]:
    """Every piece of text on the screen, without frames, bars and lines."""
    screen = hand.app.screen
    for strip in screen._compositor.render_strips():
        for segment in strip:
            if not segment.control and not _FRAME.fullmatch(segment.text):
                yield _drawn(segment, terminal)


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("theme", [DUSK, NOON, *ANSI])
async def test_every_word_is_readable(demo: Keeper, opened: "Opened", theme: str, screen: str) -> None:
    async with opened(demo, (110, 36)) as hand:
        hand.app.theme = theme
        await hand.press(*SCREENS[screen])
        if screen == "plan":
            assert await hand.until(lambda: hand.app.screen.plan is not None, 30)  # type: ignore[attr-defined]
            await hand.pilot.pause()
        terminal = LIGHT_TERMINAL if theme == "ansi-light" else DARK_TERMINAL
        least = 3 if theme in ANSI else 4.5
        seen = {(word, round(contrast(word.front, word.back), 2)) for word in _readable(hand, terminal)}
        assert seen
        assert [word for word, _ in seen if word.dim] == []
        assert sorted((ratio, word) for word, ratio in seen if ratio < least) == []
        print(f"{theme} {screen}: {min(ratio for _, ratio in seen)}")


def _readable(hand: "Hand", terminal: TerminalTheme) -> Iterator[Word]:
    """The words of what stands in front; a dialog lies over a screen that is dimmed on purpose."""
    screen = hand.app.screen
    windows = [w.region for w in screen.query(".dialog, CommandInput, CommandList, #--container")]
    for y, strip in enumerate(screen._compositor.render_strips()):
        x = 0
        for segment in strip:
            inside = not windows or any(region.contains(x, y) for region in windows)
            if inside and not segment.control and not _FRAME.fullmatch(segment.text):
                yield _drawn(segment, terminal)
            x += segment.cell_length


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
@pytest.mark.parametrize("sight", SIGHT, ids=lambda sight: sight or "normal")
def test_no_two_pieces_of_advice_look_alike(theme: object, sight: str) -> None:
    painted = variables(theme, no_color=False)  # type: ignore[arg-type]
    seen = {name: _seen(painted[f"advice-{name}"], sight) for name in ADVICE}
    apart = {pair: float(deltaE(seen[pair[0]], seen[pair[1]], input_space="sRGB1")) for pair in combinations(ADVICE, 2)}
    least = min(apart, key=lambda pair: apart[pair])
    print(f"{sight or 'normal'}: {apart[least]:.1f} {least}")
    assert apart[least] >= (FAR_APART_UNSEEN if sight else FAR_APART), least


def _seen(colour: str, sight: str) -> np.ndarray:
    rgb = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    if not sight:
        return rgb
    space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
    return np.clip(cspace_convert(rgb, space, "sRGB1"), 0, 1)


@pytest.mark.parametrize("theme", [DUSK, NOON, *ANSI])
async def test_without_colour_the_urgent_is_never_dimmer_than_the_calm(
    demo: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch, theme: str
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened(demo, (110, 36)) as hand:
        hand.app.theme = theme
        await hand.pilot.pause()
        terminal = LIGHT_TERMINAL if theme in (NOON, "ansi-light") else DARK_TERMINAL
        found = list(words(hand, terminal))
        assert [word for word in found if len({*word.front}) > 1] == []
        strength = {
            name: [
                (contrast(word.front, word.back), word.bold)
                for word in found
                if re.match(rf"\S {name.upper()}\b", word.text)
            ]
            for name in ADVICE
        }
        assert [name for name in ("rescue", "leave", "soon", "free") if not strength[name]] == []
        calm = max(one for name in ("free", "wait", "care") for one in strength[name])
        assert [name for name in ("rescue", "leave", "soon") if min(strength[name]) < calm] == []


async def test_a_rescue_is_the_one_filled_badge(demo: Keeper, opened: "Opened") -> None:
    async with opened(demo, (120, 40)) as hand:
        grounds = {word.back for word in words(hand)}
        filled = {word.text for word in words(hand) if word.back == (0xD3, 0x1B, 0x26)}
        assert len(grounds) == 4  # the page, the panel of headline and foot, the selected line, the badge
        assert filled == {"► RESCUE", "2 to rescue"}


async def test_a_theme_that_is_none_falls_back_to_ours(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        assert hand.app.theme == DUSK
