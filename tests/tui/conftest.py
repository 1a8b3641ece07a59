"""What the dashboard's tests share: a small shelf, the demo, and a hand that presses keys and reads the screen.

What the tests expect of care (24 h and 48 h of hanging) is common practice, no source; the rest is what this program
promises its keeper.
"""

import asyncio
import html
import re
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import pytest
from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Input, Label, OptionList, Static

from pupawatch import settings as files
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Entry, kind_of
from pupawatch.model.settings import Place, Settings
from pupawatch.model.times import Span
from pupawatch.tui.app import Dashboard
from pupawatch.tui.screens.shelf_screen import ShelfScreen
from pupawatch.tui.widgets.shelf import Row, Shelf

NOW = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)
HOUR = timedelta(hours=1)
EVENING = NOW - 12 * HOUR
_CELL = 12.2  # the width of one character in the pictures that Textual makes


class Hand:
    """Presses keys on an open dashboard and reads what it shows and what it wrote."""

    def __init__(self, app: Dashboard, pilot: Pilot[None]) -> None:
        self.app = app
        self.pilot = pilot
        self.pressed = 0
        self.began = app.keeper.journal.last()

    async def press(self, *keys: str) -> None:
        """Press these keys one after the other, and wait until the screen has settled."""
        await self.pilot.press(*keys)
        await self.pilot.pause()
        self.pressed += len(keys)

    async def pick(self, words: str) -> None:
        """Press the number of the choice that holds these words."""
        await self.press(next(choice.split()[0] for choice in self.choices if words in choice))

    async def type(self, text: str) -> None:
        """Put a text into the line that has the focus, in the stead of what is there."""
        line = self.app.focused
        assert isinstance(line, Input)
        line.value = text
        await self.pilot.pause()

    @property
    def typed(self) -> str:
        """What stands in the line that has the focus."""
        line = self.app.focused
        assert isinstance(line, Input)
        return line.value

    @property
    def wrong(self) -> str:
        """What the open form says is wrong."""
        return str(self.app.screen.query_one("#wrong", Static).content)

    @property
    def title(self) -> str:
        """The title of the open dialog."""
        return str(self.app.screen.query_one(".title", Label).content)

    async def until(self, holds: Callable[[], bool], seconds: float = 10) -> bool:
        """Wait until something holds; says whether it came to that."""
        for _ in range(int(seconds / 0.05)):
            if holds():
                return True
            await asyncio.sleep(0.05)
        return holds()

    async def decided(self) -> bool:
        """Wait until the forecasts are there and what is decided for the shelf stands on the screen."""
        screen = self.app.screen_stack[0]
        assert isinstance(screen, ShelfScreen)
        came = await self.until(lambda: screen.ahead is not None, 60)
        await self.pilot.pause()
        return came

    async def go_to(self, label: str) -> None:
        """Put the cursor on this pupa, or on the heading of this place."""
        key = next(row.key for row in self.shelf.rows if label in (name_of(row), row.standing and row.key))
        assert self.shelf.go_to(key)
        await self.pilot.pause()

    @property
    def shelf(self) -> Shelf:
        return self.app.screen_stack[0].query_one(Shelf)

    @property
    def here(self) -> str:
        """The label of the pupa, or the name of the place, under the cursor."""
        return name_of(self.shelf.row) if self.shelf.row else ""

    @property
    def labels(self) -> list[str]:
        """The labels of the pupae on the shelf, from top to bottom."""
        return [row.standing.pupa.label for row in self.shelf.rows if row.standing]

    @property
    def choices(self) -> list[str]:
        """What the open dialog offers."""
        return [str(option.prompt) for option in self.app.screen.query_one(OptionList).options]

    @property
    def chosen(self) -> str:
        """What is under the cursor of the open dialog."""
        listed = self.app.screen.query_one(OptionList)
        assert listed.highlighted is not None
        return self.choices[listed.highlighted]

    @property
    def in_front(self) -> bool:
        """Whether something stands in front of the round."""
        return len(self.app.screen_stack) > 1

    @property
    def said(self) -> str:
        """The answer above the keys, whole."""
        return str(self.app.screen_stack[0].query_one("#said", Static).content)

    def seen(self) -> str:
        """All that can be read on the terminal now."""
        return "\n".join(_words_of(self.app.export_screenshot()))

    def told(self) -> str:
        """All the text of what stands in front, also what is to be scrolled to."""
        return "\n".join(str(part.content) for part in self.app.screen.query(Static))

    def written(self) -> list[Entry]:
        """The entries written since the dashboard was opened."""
        return [entry for some in self.app.keeper.journal.read("seq > ?", (self.began,)) for entry in some]

    def kinds(self) -> list[str]:
        """Their kinds, in the order of writing."""
        return [kind_of(entry) for entry in self.written()]


WordsOf = Callable[[str], list[str]]
Opened = Callable[..., AbstractAsyncContextManager[Hand]]


def name_of(row: Row) -> str:
    """The label of a row's pupa, or the name of its place."""
    if row.standing:
        return row.standing.pupa.label
    return row.stretch.place.name if row.stretch else ""


def _words_of(svg: str) -> list[str]:
    """The lines of text in a picture of a terminal, each character in its column."""
    lines: dict[float, dict[int, str]] = {}
    for x, y, text in re.findall(r'<text[^>]* x="([\d.]+)" y="([\d.]+)"[^>]* clip-path[^>]*>([^<]*)</text>', svg):
        lines.setdefault(float(y), {})[round(float(x) / _CELL)] = html.unescape(text).replace("\xa0", " ")
    told = []
    for y in sorted(lines):
        line = ""
        for column, text in sorted(lines[y].items()):
            line = line.ljust(column) + text
        told.append(line.rstrip())
    return told


@pytest.fixture(scope="session")
def words_of() -> WordsOf:
    """Reads the lines of text in a picture of a terminal."""
    return _words_of


@pytest.fixture(scope="session")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """The shipped settings, in UTC."""
    return msgspec.structs.replace(files.load(tmp_path_factory.mktemp("none")), zone="UTC")


@pytest.fixture
def empty(tmp_path: Path, shipped: Settings) -> Keeper:
    """A keeper who has written nothing yet."""
    return Keeper(Journal(tmp_path / "journal.db"), shipped, lambda: NOW, tmp_path)


@pytest.fixture
def small(tmp_path: Path, shipped: Settings) -> Keeper:
    """Three places, looked over yesterday evening.

    Roof: A1 and A3 firm, between them A2, a pupa for 10 to 14 hours. Jar: B1, firm, where no adult can climb.
    Line: C1, a hanging caterpillar.
    """
    places = [
        Place(name="Roof", surface="mesh", capacity=12, clearance_cm=30),
        Place(name="Jar", surface="glass", capacity=2, clearance_cm=15),
        Place(name="Line", surface="line", capacity=6, clearance_cm=40),
    ]
    settings = msgspec.structs.replace(shipped, places=places)
    keeper = Keeper(Journal(tmp_path / "journal.db"), settings, lambda: NOW, tmp_path)
    days_ago = Span(NOW - 132 * HOUR, NOW - 120 * HOUR)
    for label, place in (("A1", "Roof"), ("A3", "Roof"), ("B1", "Jar")):
        keeper.pupae.found(label, place, when=days_ago)
    keeper.pupae.found("A2", "Roof", when=Span(NOW - 14 * HOUR, NOW - 10 * HOUR))
    keeper.pupae.found("C1", "Line", when=Span(EVENING, EVENING), prepupa=True)
    keeper.places.looked(when=Span(EVENING, EVENING))
    return keeper


@pytest.fixture
def demo(tmp_path: Path) -> Keeper:
    """The invented season of the demo; the clock stands still a minute after it was opened."""
    keeper = demo_keeper(tmp_path)
    keeper.clock = lambda: MORNING + timedelta(minutes=1)
    return keeper


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opened:
    """Opens a dashboard: ``async with opened(keeper) as hand``.

    It stays without forecasts unless asked for them: they come at any moment, and cost the most.
    """
    # Textual looks every 20 ms, three times a key, whether the program has come to rest; here it looks every 5 ms.
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.005, raising=False)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0025, raising=False)

    @asynccontextmanager
    async def opened(keeper: Keeper, size: tuple[int, int] = (80, 24), forecasts: bool = False) -> AsyncIterator[Hand]:
        if not forecasts:
            monkeypatch.setattr(ShelfScreen, "forecast", lambda _: None)
        app: App[None] = Dashboard(keeper)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            assert isinstance(app, Dashboard)
            yield Hand(app, pilot)
            app.workers.cancel_all()

    return opened
