"""The dashboard: theme, keys and the first screen."""

from textual.app import App
from textual.screen import Screen

from pupawatch.keeper import Keeper
from pupawatch.tui.screens.round import RoundScreen


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
        self.set_keymap(keeper.settings.keys)

    def on_mount(self) -> None:
        wished = self.keeper.settings.keeper.theme
        if wished in self.available_themes:
            self.theme = wished

    def get_default_screen(self) -> Screen[None]:
        return RoundScreen(self.keeper)


def open_dashboard(keeper: Keeper) -> int:
    """Run the dashboard until the keeper leaves it; the exit code."""
    app = Dashboard(keeper)
    app.run()
    return app.return_code or 0
