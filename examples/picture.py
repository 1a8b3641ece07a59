"""Draw screens of the demo into pictures beside this script: ``python examples/picture.py``.

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

PICTURES = {"round": (), "plan": ("g",), "review": ("S",)}
"""The keys that lead from the round to each screen."""
COLUMNS, LINES = 120, 40
LONGEST_SECONDS = 60
NOW = MORNING + timedelta(minutes=1)

# Textual names a font on another host and itself in a remark. A picture asks nobody for anything: the reader's own
# fixed-width font serves, for the place of every word is in the picture.
_OUTSIDE = re.compile(r"@font-face\s*\{.*?\}\s*|<!--.*?-->\s*", re.DOTALL)


def picture(name: str) -> str:
    """A screen as SVG, with the most urgent pupa selected and all that is worked out beside it there."""
    return asyncio.run(_drawn(PICTURES[name]))


async def _drawn(keys: tuple[str, ...]) -> str:
    os.environ.pop("NO_COLOR", None)
    with TemporaryDirectory() as folder:
        keeper = demo_keeper(Path(folder))
        keeper.clock = lambda: NOW
        app = Dashboard(keeper)
        async with asyncio.timeout(LONGEST_SECONDS), app.run_test(size=(COLUMNS, LINES)) as pilot:
            screen = app.screen
            assert isinstance(screen, RoundScreen)
            while not screen.ahead:  # they are worked out beside the screen, and would come at any moment
                await pilot.pause(0.05)
            await pilot.press(*keys)
            await pilot.pause()
            await app.workers.wait_for_complete()
            await pilot.pause()
            return _OUTSIDE.sub("", app.export_screenshot(title="pupawatch"))


if __name__ == "__main__":
    for name in PICTURES:
        Path(__file__).with_name(f"{name}.svg").write_text(picture(name), encoding="utf-8")
