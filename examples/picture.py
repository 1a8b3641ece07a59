"""Draw every screen of the demo as SVG, beside this script: ``python examples/picture.py``.

The clock stands still a minute after the demo has opened, so the same program draws the same pictures.
"""

import asyncio
import os
import re
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from pupawatch.demo import MORNING, demo_keeper
from pupawatch.tui.app import Dashboard
from pupawatch.tui.screens.round import RoundScreen

PICTURES = {
    "round": "",
    "plan": "g",
    "watch": "t",
    "adults": "b",
    "health": "i",
    "moves": "y",
    "places": "p",
    "review": "S",
}
"""Every screen, and the key that opens it from the round."""
COLUMNS, LINES = 120, 40
LONGEST_SECONDS = 60
NOW = MORNING + timedelta(minutes=1)

# Textual names a font on another host and itself in a remark. A picture asks nobody for anything: the reader's own
# fixed-width font serves, for the place of every word is in the picture.
_OUTSIDE = re.compile(r"@font-face\s*\{.*?\}\s*|<!--.*?-->\s*", re.DOTALL)


def picture(name: str, theme: str = "dusk") -> str:
    """A screen as SVG; the round with the most urgent pupa selected."""
    return asyncio.run(_drawn(PICTURES[name], theme))


async def _drawn(key: str, theme: str) -> str:
    os.environ.pop("NO_COLOR", None)
    with TemporaryDirectory() as folder:
        keeper = demo_keeper(Path(folder))
        keeper.clock = lambda: NOW
        app = Dashboard(keeper)
        async with asyncio.timeout(LONGEST_SECONDS), app.run_test(size=(COLUMNS, LINES)) as pilot:
            app.theme = theme
            screen = app.screen
            assert isinstance(screen, RoundScreen)
            while not screen.ahead:  # they are worked out beside the screen, and would come at any moment
                await pilot.pause(0.05)
            await pilot.press(*key)
            while any(worker.is_running for worker in app.workers):
                await pilot.pause(0.05)
            await pilot.pause()
            told = app.export_screenshot(title="pupawatch").replace(folder, "~/.config/pupawatch")
            return _OUTSIDE.sub("", told)


if __name__ == "__main__":
    for name in PICTURES:
        Path(__file__).with_name(f"{name}.svg").write_text(picture(name), encoding="utf-8")
