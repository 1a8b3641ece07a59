"""The palette (ctrl+p): every act of the screen, every screen, and every place and pupa by name."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

from textual.command import DiscoveryHit, Hit, Hits, Provider

from pupawatch.model.acts import (
    ADULTS,
    HEALTH,
    MOVE_LOG,
    PLACES,
    PLAN,
    QUIT,
    REVIEW,
    SCREENS,
    TABLE,
    WATCH,
    Act,
)  # fmt: skip
from pupawatch.model.text import shown
from pupawatch.tui.acts import key_words
from pupawatch.tui.screens.answering import AnsweringScreen
from pupawatch.tui.screens.round import RoundScreen

_SCREENS = (PLAN, WATCH, ADULTS, HEALTH, PLACES, MOVE_LOG, REVIEW, TABLE, QUIT)
_EXACT = 1_000.0
"""Above any score of a word that is only like it."""


class _Found(NamedTuple):
    """name: what is looked for. words: what stands beside it. do: what happens when it is chosen."""

    name: str
    words: str
    do: Callable[[], object]


class Palette(Provider):
    """What can be done and gone to from the screen that lies below."""

    async def discover(self) -> Hits:
        for one in (*self._acts(), *self._screens()):
            yield DiscoveryHit(one.name, one.do, help=one.words)

    async def search(self, query: str) -> Hits:
        matcher, wanted = self.matcher(query), query.strip().casefold()
        for one in (*self._acts(), *self._screens(), *self._named()):
            is_meant = one.name.casefold() == wanted
            score = _EXACT if is_meant else max(matcher.match(one.name), 0.9 * matcher.match(one.words))
            if score > 0:
                yield Hit(score, matcher.highlight(one.name), one.do, text=one.name, help=one.words)

    def _acts(self) -> Iterator[_Found]:
        screen = self.screen
        if isinstance(screen, AnsweringScreen):
            below = [act for act in SCREENS[screen.SCREEN] if act not in _SCREENS]
            yield from (self._act(act, partial(screen.run_action, act.name)) for act in below)

    def _screens(self) -> Iterator[_Found]:
        yield from (self._act(act, partial(self._on_the_round, act.name)) for act in _SCREENS)

    def _act(self, act: Act, do: Callable[[], object]) -> _Found:
        screen = self.screen
        keys = screen.keeper.settings.keys if isinstance(screen, AnsweringScreen) else {}
        name = act.word or act.name.replace("_", " ").capitalize()
        return _Found(f"{name}  {key_words(keys[act.name])}" if act.name in keys else name, act.help, do)

    def _named(self) -> Iterator[_Found]:
        round_screen = _round(self)
        for standing in round_screen.morning.standings:
            pupa = standing.pupa
            yield _Found(shown(pupa.label), shown(f"pupa, {pupa.place}"), partial(self._go, pupa.id))
        for stretch in round_screen.morning.stretches:
            yield _Found(shown(stretch.place.name), "place", partial(self._go, stretch.place.name))

    async def _on_the_round(self, act: str) -> None:
        await self._home().run_action(act)

    def _go(self, about: str) -> None:
        self._home().go_to(about)

    def _home(self) -> RoundScreen:
        """The round, with nothing in front of it."""
        came_back = len(self.app.screen_stack) > 1
        while len(self.app.screen_stack) > 1:
            self.app.pop_screen()
        home = _round(self)
        if came_back:
            home.came_back()
        return home


def _round(palette: Palette) -> RoundScreen:
    home = palette.app.screen_stack[0]
    assert isinstance(home, RoundScreen)
    return home
