"""How fast are the forecasts, and does the screen wait for them? Ratios, each against its yardstick in the same run.

    python tests/bench/forecast_speed.py

500 living pupae in places with four sensors of 5-minute readings over 90 days: all forecasts from a cold cache, and
after one new entry; the longest time the screen's loop was held up meanwhile; and a cold `pupawatch today` with the
forecasts of 45 pupae against starting Python with sqlite3, msgspec and argparse.
"""

import asyncio
import math
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import big_journal
import startup

from pupawatch import settings as files
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.outlook import Outlooks
from pupawatch.model.times import Span

PUPAE, DAYS, SENSORS = 500, 90, 4
NOW = datetime.now(UTC).replace(microsecond=0)


def main() -> None:
    startup.as_after_a_first_start()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "keeper.toml").write_text(
            'zone = "America/Chicago"\nlatitude = 42.0\nlongitude = -93.0\n', encoding="utf-8"
        )
        places = "".join(f'[[places]]\nname = "{place}"\nsurface = "mesh"\n' for place in big_journal.PLACES)
        (folder / "places.toml").write_text(places, encoding="utf-8")
        keeper = filled(folder)
        first, again, idle = (seconds * 1000 for seconds in asyncio.run(screen_held_up(keeper)))
        print(
            f"the screen's loop was held up for at most {first:.0f} ms by the first forecasts, {again:.0f} ms after an "
            f"act, {idle:.0f} ms while nothing happened; goal 50 ms"
        )
        outlooks = Outlooks(keeper)
        outlooks.of(keeper.state, NOW)  # numpy is loaded once a process
        all_anew = timed(lambda: Outlooks(keeper).of(keeper.state, NOW))
        keeper.pupae.saw("P7", "darkening")
        one = timed(lambda: outlooks.of(keeper.state, NOW))
        plain = timed(lambda: cumulative(keeper))
        readings = sum(count for _, count, _, _ in keeper.journal.sensors())
        print(f"{PUPAE} pupae, {readings} readings")
        print(f"all forecasts / plain cumulative sums: {all_anew:.3f} s / {plain:.4f} s = {all_anew / plain:.1f}")
        print(f"after one new entry / all of them: {one:.4f} s / {all_anew:.3f} s = {one / all_anew:.3f}")
        ours, bare = startup.today(folder / "small.db", folder)
        startup.report("pupawatch today with forecasts / bare Python", ours, bare, "8")


def filled(folder: Path) -> Keeper:
    """A keeper with 500 living pupae and four loggers."""
    keeper = Keeper(Journal(folder / "journal.db"), files.load(folder), lambda: datetime.now(UTC), folder)
    begin = NOW - timedelta(days=DAYS)
    for sensor in range(SENSORS):
        rows = (
            (f"s{sensor}", int((begin + timedelta(minutes=5 * n)).timestamp()), celsius(sensor, n))
            for n in range(DAYS * 24 * 12)
        )
        keeper.temperatures.log(rows, {f"s{sensor}": None}, list(big_journal.PLACES[2 * sensor : 2 * sensor + 2]))
    with_entries = []
    for number in range(PUPAE):
        until = NOW - timedelta(hours=5 + number / 3)
        place = big_journal.PLACES[number % len(big_journal.PLACES)]
        with_entries.append((f"P{number}", place, Span(until - timedelta(hours=12), until)))
    for label, place, span in with_entries:
        keeper.pupae.found(label, place, when=span)
    return keeper


def celsius(sensor: int, number: int) -> float:
    """An invented course of the day."""
    return 20 + sensor + 5 * math.sin(number * 2 * math.pi / 288)


def cumulative(keeper: Keeper) -> float:
    """What any program that uses the readings must do at the least: read them, and sum them up with numpy."""
    import numpy as np

    total = 0.0
    for name, *_ in keeper.journal.sensors():
        _, read = keeper.journal.readings(name, 0, NOW.timestamp())
        total += float(np.cumsum(np.clip(np.asarray(read) - 12.5, 0, None))[-1])
    return total


def timed(act: object, rounds: int = 5) -> float:
    """The median of a few runs, in seconds."""
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        act()  # type: ignore[operator]
        times.append(time.perf_counter() - begin)
    return sorted(times)[rounds // 2]


async def screen_held_up(keeper: Keeper) -> tuple[float, float, float]:
    """The longest pause of the loop, in seconds: from the first screen until the first forecasts stand (numpy is loaded
    meanwhile), from an act until its forecast stands, and while nothing happens."""
    from pupawatch.tui.app import Dashboard

    async def longest_pause(seconds: float) -> float:
        begin = last = time.perf_counter()
        longest = 0.0
        while last < begin + seconds:
            await asyncio.sleep(0.002)
            longest, last = max(longest, time.perf_counter() - last), time.perf_counter()
        return longest

    app = Dashboard(keeper)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        assert app.screen.ahead is None  # type: ignore[attr-defined]
        first, patience = await longest_pause(4), time.perf_counter() + 60
        while app.screen.ahead is None and time.perf_counter() < patience:  # type: ignore[attr-defined]
            first = max(first, await longest_pause(1))  # a busy machine
        assert len(app.screen.ahead.known.outlooks) == PUPAE  # type: ignore[attr-defined]
        await pilot.press("d")
        return first, await longest_pause(2.5), await longest_pause(1.5)


if __name__ == "__main__":
    main()
