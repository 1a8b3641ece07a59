"""The dashboard: theme, keys and the first screen."""

import gc

from textual import on
from textual.app import App
from textual.screen import Screen

from pupawatch.errors import PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.model.text import shown
from pupawatch.tui.screens.answering import Alarm
from pupawatch.tui.screens.round import RoundScreen

_CHECK_AFTER_SECONDS = 20.0
_STANDS_SECONDS = 7 * 24 * 3600.0
"""Until the keeper leaves: no dashboard is open for longer than a week."""


class Dashboard(App[None]):
    """One keeper's dashboard."""

    CSS_PATH = "dashboard.tcss"
    TITLE = "pupawatch"
    ENABLE_COMMAND_PALETTE = False
    VERTICAL_BREAKPOINTS = [(0, "-low"), (34, "-tall")]  # noqa: RUF012 (declared so by App)
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012 (declared so by App)

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self._alarms: set[str] = set()
        self.set_keymap(keeper.settings.keys)

    def on_mount(self) -> None:
        wished = self.keeper.settings.keeper.theme
        if wished in self.available_themes:
            self.theme = wished
        if self.keeper.journal.is_large:
            # A whole check takes a while; it begins when the first keys are through.
            self.set_timer(_CHECK_AFTER_SECONDS, lambda: self.run_worker(self._look_for_damage, thread=True))

    def on_ready(self) -> None:
        if left_out := self.keeper.left_out():
            self.post_message(Alarm(left_out))
        gc.freeze()  # what stands now stands until the keeper leaves: to look through it for waste holds up the keys

    def on_unmount(self) -> None:
        gc.unfreeze()

    def _look_for_damage(self) -> None:
        try:
            self.keeper.journal.verify()
        except PupawatchError as error:
            self.post_message(Alarm(str(error)))

    @on(Alarm)
    def _alarmed(self, alarm: Alarm) -> None:
        if alarm.words not in self._alarms:
            self._alarms.add(alarm.words)
            self.notify(shown(alarm.words), severity="error", timeout=_STANDS_SECONDS, markup=False)

    def get_default_screen(self) -> Screen[None]:
        return RoundScreen(self.keeper)


def open_dashboard(keeper: Keeper) -> int:
    """Run the dashboard until the keeper leaves it; the exit code."""
    app = Dashboard(keeper)
    app.run()
    return app.return_code or 0
