"""The dashboard: theme, keys and the first screen."""

import asyncio
import gc
import os
import signal
import sys

from textual import on
from textual.app import App
from textual.command import CommandPalette, Provider
from textual.screen import Screen

from pupawatch.errors import PupawatchError, Unusable
from pupawatch.keeper import Keeper
from pupawatch.model.text import shown_lines
from pupawatch.quiet import output_apart
from pupawatch.tui.beside import beside
from pupawatch.tui.look import DUSK, THEMES, variables
from pupawatch.tui.screens.answering import Alarm, AnsweringScreen
from pupawatch.tui.screens.round import RoundScreen
from pupawatch.tui.terminal import lasting

_CHECK_AFTER_SECONDS = 20.0
_TERMINAL_SECONDS = 2.0
_STANDS_SECONDS = 7 * 24 * 3600.0
"""Until the keeper leaves: no dashboard is open for longer than a week."""


def _palette() -> type[Provider]:
    """Loaded when it is first asked for."""
    from pupawatch.tui.palette import Palette

    return Palette


class Dashboard(App[None]):
    """One keeper's dashboard."""

    CSS_PATH = "dashboard.tcss"
    TITLE = "pupawatch"
    COMMANDS = {_palette}  # noqa: RUF012 (declared so by App)
    VERTICAL_BREAKPOINTS = [(0, "-low"), (34, "-tall")]  # noqa: RUF012 (declared so by App)
    HORIZONTAL_BREAKPOINTS = [(0, "-phone"), (60, "-narrow"), (80, "-middle"), (120, "-wide")]  # noqa: RUF012 (declared so by App)

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self._alarms: set[str] = set()
        self.set_keymap(keeper.settings.keys)
        for theme in THEMES:
            self.register_theme(theme)
        wished = keeper.settings.keeper.theme
        self.theme = wished if wished in self.available_themes else DUSK

    def on_mount(self) -> None:
        if self.keeper.is_large:
            # A whole check takes a while; it begins when the first keys are through.
            self.set_timer(_CHECK_AFTER_SECONDS, self.look_for_damage)
        if not (self.is_headless or self.is_web):
            self._leave_with_the_terminal()

    def _leave_with_the_terminal(self) -> None:
        """Leave in order where the terminal is closed: by its signal, and by a look where that is held back."""
        if sys.platform != "win32":
            asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, self.exit)
        self.set_interval(_TERMINAL_SECONDS, lambda: None if os.isatty(0) else self.exit())

    def on_ready(self) -> None:
        if left_out := self.keeper.left_out():
            self.post_message(Alarm(left_out))
        gc.freeze()  # what stands now stands until the keeper leaves: to look through it for waste holds up the keys

    def on_unmount(self) -> None:
        gc.unfreeze()

    @beside("damage", "looking for damage in the journal")
    def look_for_damage(self) -> None:
        """Look through a large journal; what is wrong with it is told."""
        try:
            self.keeper.verify()
        except PupawatchError as error:
            self.post_message(Alarm(str(error)))

    @on(Alarm)
    def _alarmed(self, alarm: Alarm) -> None:
        if alarm.words not in self._alarms:
            self._alarms.add(alarm.words)
            self.notify(shown_lines(alarm.words), severity="error", timeout=_STANDS_SECONDS, markup=False)

    def get_css_variables(self) -> dict[str, str]:
        """Those of the theme, with a colour for each piece of advice."""
        painted = super().get_css_variables() | variables(self.current_theme, self.no_color)
        self.theme_variables = painted
        return painted

    def action_command_palette(self) -> None:
        """Every act, screen, place and pupa by name; not in front of a dialog, which wants its own answer."""
        if isinstance(self.screen, AnsweringScreen):
            asked = "an act, a screen, a place or a pupa"
            self.push_screen(CommandPalette(id="--command-palette", placeholder=asked))

    def get_default_screen(self) -> Screen[None]:
        return RoundScreen(self.keeper)


def open_dashboard(keeper: Keeper) -> int:
    """Run the dashboard until the keeper leaves it; the exit code: where it broke, not that of a refusal."""
    app = Dashboard(keeper)
    with lasting(keeper.settings.keeper.signs), output_apart():
        app.run()
    return Unusable.exit_code if app.return_code else 0
