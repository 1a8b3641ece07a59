"""How fast is it? Ratios, each measured against its yardstick in the same run.

    python tests/bench/startup.py

(a) from start to the complete round screen, 45 living pupae in a journal of 200,000 entries, against a bare Textual
    app that shows a DataTable of the same rows; (b) from a key to the repaint, cursor and marking a stage, against the
    cursor of the bare table; (c) reading and folding all entries against a plain SELECT of the same rows;
(d) `pupawatch today`, its forecasts and its plan included, against starting Python with sqlite3, msgspec and argparse:
    where nothing can move, where each goes its own way, and where pupae are in each other's way (which needs scipy);
    and the peak memory of (a).
"""

import asyncio
import compileall
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import big_journal

import pupawatch

ENTRIES = 200_000
ROUNDS = 9
KEYS = 40


def main() -> None:
    as_after_a_first_start()
    with tempfile.TemporaryDirectory() as folder:
        path, config = Path(folder) / "journal.db", Path(folder) / "config"
        config.mkdir()
        (config / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
        (config / "places.toml").write_text(places_of("mesh"), encoding="utf-8")
        big_journal.fill(path, ENTRIES, datetime.now(UTC)).close()
        ours, bare, ours_mb, bare_mb = start_up(path, config)
        report("(a) start to the complete round screen / bare table", ours, bare, "1.6")
        print(f"    peak memory {ours_mb:.0f} MB / {bare_mb:.0f} MB = {ours_mb / bare_mb:.2f}, goal 2")
        cursor, mark, table = asyncio.run(keys(path, config))
        report("(b) key to repaint, cursor / bare table's cursor", cursor, table, "2")
        report("(b) key to repaint, marking a stage / bare table's cursor", mark, table, "2")
        report("(c) read and fold every entry / plain SELECT", *read_and_fold(path), "4")
        small = Path(folder) / "small.db"
        big_journal.fill(small, 400, datetime.now(UTC)).close()
        report("(d) pupawatch today / bare Python, nothing can move", *today(small, config), "6")
        for what, limit, goal in (("each its own way", 1000, "14"), ("in each other's way", 8, "14")):
            (config / "places.toml").write_text(places_of("glass") + SPARE, encoding="utf-8")
            (config / "care.toml").write_text(f"[risk]\nmoves_per_morning = {limit}\n", encoding="utf-8")
            report(f"(d) pupawatch today / bare Python, {what}", *today(small, config), goal)


SPARE = '[[places]]\nname = "Spare"\nsurface = "chamber"\n'


def places_of(surface: str) -> str:
    """The settings of the journal's places, all of one surface."""
    return "".join(f'[[places]]\nname = "{name}"\nsurface = "{surface}"\n' for name in big_journal.PLACES)


def report(what: str, ours: float, theirs: float, goal: str) -> None:
    print(f"{what}: {ours * 1000:.1f} ms / {theirs * 1000:.1f} ms = {ours / theirs:.2f}, goal {goal}")


def as_after_a_first_start() -> None:
    """Have the program compiled, as any start but the first finds it, also where Python is told to write nothing."""
    compileall.compile_dir(str(Path(pupawatch.__file__).parent), quiet=1)


def alternately(first: Callable[[], float], second: Callable[[], float]) -> tuple[float, float]:
    """The medians of two measurements taken in turn, so that a busy machine disturbs both alike."""
    pairs = [(first(), second()) for _ in range(ROUNDS)]
    return statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs)


_OURS = """
import sys, resource
from pathlib import Path
from pupawatch import settings
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.tui.app import Dashboard
folder = Path(sys.argv[2])
app = Dashboard(Keeper(Journal(Path(sys.argv[1])), settings.load(folder), folder=folder))
"""

_BARE = """
import sys, resource
from textual.app import App
from textual.widgets import DataTable
class Bare(App):
    def compose(self):
        yield DataTable(cursor_type="row")
    def on_mount(self):
        table = self.query_one(DataTable)
        table.add_columns("verdict", "label", "stage", "hangs", "to do")
        for number in range(53):
            table.add_row("FREE", f"L{number}", "set", "72-84 h", "leave it alone")
app = Bare()
"""

_RUN = """
async def run():
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        print(time.time())
import asyncio, time
asyncio.run(run())
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def start_up(path: Path, config: Path) -> tuple[float, float, float, float]:
    """Seconds from starting Python to a screen at rest, and the peak memory in MB, ours and the bare table's."""
    peaks: dict[str, float] = {}

    def timed(name: str, code: str) -> Callable[[], float]:
        def once() -> float:
            begin = time.time()
            done = subprocess.run(
                [sys.executable, "-c", code + _RUN, str(path), str(config)], capture_output=True, text=True, check=True
            )
            ready, peak = done.stdout.split()
            peaks[name] = float(peak)
            return float(ready) - begin

        return once

    ours, bare = alternately(timed("ours", _OURS), timed("bare", _BARE))
    return ours, bare, peaks["ours"], peaks["bare"]


async def keys(path: Path, config: Path) -> tuple[float, float, float]:
    """Seconds from a key to a screen at rest: our cursor, our marking of a stage, the bare table's cursor."""
    from pupawatch import settings
    from pupawatch.journal.file import Journal
    from pupawatch.keeper import Keeper
    from pupawatch.tui.app import Dashboard

    async def pressed(pilot: object, *pressed_keys: str) -> float:
        times = []
        for number in range(KEYS):
            key = pressed_keys[number % len(pressed_keys)]
            begin = time.perf_counter()
            await pilot.press(key)  # type: ignore[attr-defined]
            times.append(time.perf_counter() - begin)
        return statistics.median(times)

    spare: dict[str, object] = {}
    exec(_BARE, spare)
    async with spare["app"].run_test(size=(120, 40)) as pilot:  # type: ignore[attr-defined]
        table = await pressed(pilot, "down")
    app = Dashboard(Keeper(Journal(path), settings.load(config), folder=config))
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("j")
        cursor = await pressed(pilot, "j")
        await pilot.press("home", "j")
        mark = await pressed(pilot, "d")
    return cursor, mark, table


def read_and_fold(path: Path) -> tuple[float, float]:
    """Seconds to read and fold every entry, and to fetch the same rows with a plain SELECT."""
    import sqlite3

    from pupawatch.journal.file import Journal
    from pupawatch.model.state import State

    def ours() -> float:
        begin = time.perf_counter()
        state = State(entry for entries in Journal(path).read_all() for entry in entries)
        assert len(state.pupae) > big_journal.LIVING
        return time.perf_counter() - begin

    def plain() -> float:
        with closing(sqlite3.connect(path)) as connection:
            begin = time.perf_counter()
            assert len(connection.execute("SELECT * FROM entry").fetchall()) >= ENTRIES
            return time.perf_counter() - begin

    return alternately(ours, plain)


def today(path: Path, config: Path) -> tuple[float, float]:
    """Seconds of a cold `today` on the small journal at ``path``, and of a Python that only imports the least."""

    def timed(*command: str) -> Callable[[], float]:
        def once() -> float:
            begin = time.perf_counter()
            subprocess.run([sys.executable, *command], stdout=subprocess.DEVNULL, check=True)
            return time.perf_counter() - begin

        return once

    ours = timed("-m", "pupawatch", "--journal", str(path), "--config", str(config), "today")
    return alternately(ours, timed("-c", "import sqlite3, msgspec, argparse"))


if __name__ == "__main__":
    os.environ.setdefault("TERM", "xterm-256color")
    resource.getrusage(resource.RUSAGE_SELF)
    main()
